"""Make a record keep the bounds of the wire: what breaks them is left out."""

from dataclasses import MISSING, fields, replace
from typing import Any, TypeVar

from fadewatch_common.bounds import problems

Record = TypeVar("Record", bound=Any)


def fitted(record: Record, label: str) -> tuple[Record | None, tuple[str, ...]]:
    """Return the record without the fields that break their bounds.

    Parameters
    ----------
    record
        One of the report's dataclasses.
    label
        What to call it in the remarks.

    Returns
    -------
    record
        None when a field that it needs breaks its bounds.
    remarks
        A sentence for each field left out.
    """
    sentences = tuple(problems(record, ""))
    if not sentences:
        return record, ()
    remarks = tuple(_remark(sentence, label) for sentence in sentences)
    broken = {sentence.split()[0].lstrip(".").split("[")[0] for sentence in sentences}
    defaults = {field.name: field.default for field in fields(record)}
    emptied = {name: defaults[name] for name in broken}
    if any(default is MISSING for default in emptied.values()):
        return None, (*remarks, f"{label}: left out")
    return replace(record, **emptied), remarks


def _remark(sentence: str, label: str) -> str:
    name, _, problem = sentence.lstrip(".").partition(" ")
    return f"{label}: {name.replace('_', ' ')} left out: it {problem}"

"""The settings of a policy as people read and type them: percent, never fractions."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.policy_scopes import FLEET, LIMITS, WHOLE

DIGITS = 6
"""Digits to which a fraction typed as percent is kept [count]."""


@dataclass(frozen=True, slots=True)
class PolicyField:
    """One setting.

    Attributes
    ----------
    factor
        What a typed value is divided by to become the setting.
    """

    name: str
    label: str
    unit: str
    hint: str
    factor: float = 1.0

    def shown(self, value: float) -> str:
        """Write a value as it is typed, without its unit."""
        return f"{round(value * self.factor, DIGITS):g}"

    def words(self, value: float) -> str:
        """Write a value with its unit."""
        return f"{self.shown(value)} {self.unit}"

    def read(self, text: str) -> float:
        """Return the setting that was typed.

        Raises
        ------
        InvalidRequest
            It is no number, or out of its range; the message says which setting.
        """
        try:
            typed = float(text.replace(",", "."))
        except ValueError as error:
            raise InvalidRequest(f"{self.label}: {text[:20]} is no number") from error
        low, high = (limit * self.factor for limit in LIMITS[self.name])
        if not low <= typed <= high:
            raise InvalidRequest(
                f"{self.label}: {typed:g} is outside {low:g} to {high:g} {self.unit}"
            )
        if self.name in WHOLE:
            if typed != int(typed):
                raise InvalidRequest(f"{self.label}: {typed:g} is not a whole number")
            return int(typed)
        return round(typed / self.factor, DIGITS)


POLICY_FIELDS = (
    PolicyField(
        "plan_wear", "Plan threshold", "%", "wear from which a new pack is planned", 100
    ),
    PolicyField(
        "replace_wear",
        "Replace threshold",
        "%",
        "wear from which a pack is replaced",
        100,
    ),
    PolicyField(
        "hysteresis_wear",
        "Hysteresis",
        "%",
        "how far wear falls back below a threshold before its alert ends",
        100,
    ),
    PolicyField(
        "service_years",
        "Years of service",
        "years",
        "how long a pack should stay below the plan threshold when a laptop is issued",
    ),
    PolicyField(
        "new_pack_wear", "Wear of a new pack", "%", "the most that counts as new", 100
    ),
    PolicyField(
        "new_pack_cycles",
        "Cycles of a new pack",
        "cycles",
        "the most that counts as new",
    ),
    PolicyField(
        "arrival_charge_percent",
        "Charge on arrival",
        "%",
        "up to which a new pack has come as it is shipped",
    ),
    PolicyField(
        "silent_days",
        "Silent after",
        "days",
        "days without a report; read from the fleet's policy only",
    ),
    PolicyField(
        "least_memory_mib",
        "Least memory",
        "MiB",
        "with which a laptop is issued; 8192 MiB are 8 GiB, 0 asks for none",
    ),
    PolicyField(
        "least_storage_gb",
        "Least drive",
        "GB",
        "size of the largest drive, as drives are sold; 0 asks for none",
    ),
)

_BY_NAME = {field.name: field for field in POLICY_FIELDS}


def changes_in(form: Mapping[str, str]) -> dict[str, float]:
    """Return what a form says differs; an empty field does not.

    Raises
    ------
    InvalidRequest
        A value cannot be used.
    """
    return {
        field.name: field.read(text)
        for field in POLICY_FIELDS
        if (text := form.get(field.name, "").strip())
    }


def setting_words(name: str, value: Any) -> str:
    """Write a setting's value; what is not known stands as it was kept."""
    field = _BY_NAME.get(name)
    if field is None or not isinstance(value, int | float):
        return str(value)
    return field.words(value)


def setting_label(name: str) -> str:
    """Return what a setting is called."""
    field = _BY_NAME.get(name)
    return field.label if field else name


def scope_words(scope: str) -> str:
    """Say what a scope covers."""
    kind, _, name = scope.partition(":")
    if scope == FLEET:
        return "the whole fleet"
    if kind == "site":
        return f"site {name}"
    return "laptop model " + " ".join(part for part in name.split("|") if part)

"""Static files and their names."""

import re
from html.parser import HTMLParser
from importlib.resources import files

import pytest

from fadewatch_collector.web.static import StaticFiles, packaged_files


def test_another_content_has_another_name() -> None:
    one, two = StaticFiles({"a.css": b"x"}), StaticFiles({"a.css": b"y"})

    assert one.path_of("a.css") != two.path_of("a.css")
    assert one.at(two.path_of("a.css")) is None


def test_a_file_is_found_under_the_name_that_pages_use() -> None:
    static = packaged_files()

    file = static.at(static.path_of("site.css"))

    assert file is not None
    assert file.content_type == "text/css"


def test_the_style_sheet_asks_for_nothing_from_elsewhere() -> None:
    sheet = packaged_files()
    file = sheet.at(sheet.path_of("site.css"))

    assert file is not None
    assert b"url(" not in file.body
    assert b"@import" not in file.body


class _Forbidden(HTMLParser):
    """Collects what the content policy would refuse."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        is_file = any(name == "src" and "static(" in (v or "") for name, v in attrs)
        if tag in {"style", "iframe"} or (tag == "script" and not is_file):
            self.found.append(tag)
        self.found += [
            name for name, _ in attrs if name == "style" or name.startswith("on")
        ]


TEMPLATES = sorted(
    entry.name
    for entry in files("fadewatch_collector.web").joinpath("templates").iterdir()
)


@pytest.mark.parametrize("name", TEMPLATES)
def test_templates_hold_no_script_of_their_own_and_no_style(name: str) -> None:
    folder = files("fadewatch_collector.web").joinpath("templates")
    parser = _Forbidden()

    # What the template language says inside a tag is no attribute of it.
    text = re.sub(r"{%.*?%}", "", folder.joinpath(name).read_text(encoding="utf-8"))
    parser.feed(re.sub(r"{{.*?}}", lambda found: found[0].replace('"', "'"), text))

    assert parser.found == []
    assert "|safe" not in folder.joinpath(name).read_text(encoding="utf-8")

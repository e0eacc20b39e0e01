"""The forms of a page, as a browser reads them out of it and would send them back."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

# What a browser sends only when it is chosen, clicked or filled.
NEVER_BY_ITSELF = {"submit", "button", "image", "reset", "file"}


@dataclass
class PageForm:
    """One form: where it goes and what it holds before anybody types."""

    method: str = "get"
    action: str = ""
    sent: dict[str, list[str]] = field(default_factory=dict)
    names: set[str] = field(default_factory=set)  # also of boxes that are empty, files and buttons
    has_files: bool = False
    moments: dict[str, str] = field(default_factory=dict)  # boxes for days and moments, each with its type

    def put(self, name: str, value: str) -> None:
        self.sent.setdefault(name, []).append(value)

    def filled(self, typed: dict[str, Any]) -> dict[str, Any]:
        """What goes out once somebody has typed; None leaves a box unticked or a part unsent.

        Raises
        ------
        KeyError
            If the form has no such field.
        """
        unknown = set(typed) - self.names
        if unknown:
            raise KeyError(f"no field {', '.join(sorted(unknown))}; there are {', '.join(sorted(self.names))}")
        both = {**self.sent, **typed}
        return {name: value for name, value in both.items() if value is not None}


class FormReader(HTMLParser):
    """Collects forms. A form without an action goes to the address of its page."""

    def __init__(self, address: str) -> None:
        super().__init__(convert_charrefs=True)
        self.address = address
        self.forms: list[PageForm] = []
        self.by_id: dict[str, PageForm] = {}
        self.open: PageForm | None = None
        self.select: tuple[PageForm, str, bool] | None = None
        self.options: list[tuple[str, bool]] = []
        self.text: tuple[PageForm, str] | None = None
        self.typed = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.open = PageForm(given.get("method", "get").lower(), given.get("action") or self.address)
            self.forms.append(self.open)
            if "id" in given:
                self.by_id[given["id"]] = self.open
        if "hx-post" in given:
            self.forms.append(PageForm("post", given["hx-post"]))
        if "formaction" in given:
            self.forms.append(PageForm("post", given["formaction"]))
        at = self.by_id.get(given.get("form", ""), self.open)
        if tag == "option" and self.select:
            self.options.append((given.get("value", ""), "selected" in given))
        name = given.get("name", "")
        if at is None or not name or "disabled" in given:
            return
        if tag in ("input", "button", "select", "textarea"):
            at.names.add(name)
        if tag == "input":
            kind = given.get("type", "text")
            at.has_files |= kind == "file"
            if kind in ("date", "datetime-local"):
                at.moments[name] = kind
            if kind in ("checkbox", "radio"):
                if "checked" in given:
                    at.put(name, given.get("value", "on"))
            elif kind not in NEVER_BY_ITSELF:
                at.put(name, given.get("value", ""))
        elif tag == "select":
            self.select, self.options = (at, name, "multiple" in given), []
        elif tag == "textarea":
            self.text, self.typed = (at, name), ""

    def handle_data(self, data: str) -> None:
        self.typed += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.open = None
        elif tag == "select" and self.select:
            at, name, is_multiple = self.select
            chosen = [value for value, is_chosen in self.options if is_chosen]
            if not chosen and not is_multiple:
                chosen = [value for value, _is_chosen in self.options[:1]]
            for value in chosen:
                at.put(name, value)
            self.select = None
        elif tag == "textarea" and self.text:
            at, name = self.text
            at.put(name, self.typed.removeprefix("\n"))
            self.text = None


def forms_in(html: str, address: str) -> list[PageForm]:
    reader = FormReader(address)
    reader.feed(html)
    return reader.forms

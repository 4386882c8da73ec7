"""The forms of a page as a browser has them: what it shows, and what it would send."""

from dataclasses import dataclass, field
from html.parser import HTMLParser

NOT_TYPED = {"hidden", "submit", "button", "file", "image", "reset"}


@dataclass
class Field:
    """``options``: what a select has; ``chosen``: of a box that is ticked, of a radio button."""

    name: str
    type: str
    value: str = ""
    chosen: bool = False
    attrs: dict = field(default_factory=dict)
    options: list[str] = field(default_factory=list)
    described_by: list[str] = field(default_factory=list)

    @property
    def is_box(self) -> bool:
        return self.type in ("radio", "checkbox")

    @property
    def is_sent(self) -> bool:
        return bool(self.name) and self.type not in ("submit", "button", "file", "image", "reset")


@dataclass
class PageForm:
    attrs: dict
    fields: list[Field] = field(default_factory=list)

    def sent(self) -> dict[str, list[str]]:
        found = {}
        for one in self.fields:
            if one.is_sent and (one.chosen or not one.is_box):
                found.setdefault(one.name, []).append(one.value)
        return found

    def typed(self) -> list[str]:
        """The names of what a keeper fills in, each once."""
        names = [one.name for one in self.fields if one.is_sent and one.type not in NOT_TYPED]
        return list(dict.fromkeys(names))

    def named(self, name: str) -> list[Field]:
        return [one for one in self.fields if one.name == name]


class Page(HTMLParser):
    """``forms`` that are posted, and the ``texts`` of elements with an id."""

    def __init__(self, text: str):
        super().__init__()
        self.forms, self.texts, self.all_forms = [], {}, []
        self._form = self._area = self._select = None
        self._open, self._groups = [], []
        self.feed(text)
        self.forms = [form for form in self.all_forms if form.attrs.get("method") == "post"]

    @property
    def fields(self) -> list[Field]:
        return [one for form in self.all_forms for one in form.fields]

    def handle_starttag(self, tag, attrs):
        attrs = {name: value or "" for name, value in attrs}
        if tag == "fieldset":
            self._groups.append(attrs.get("aria-describedby", ""))
        if tag == "ul":
            self._open.append(attrs.get("id", ""))
            self.texts.setdefault(attrs.get("id", ""), "")
        if tag == "form":
            self._form = PageForm(attrs)
            self.all_forms.append(self._form)
        elif self._form is None or tag not in ("input", "textarea", "select", "option", "button"):
            return
        elif tag == "option":
            if self._select is None:  # of a list of suggestions
                return
            self._select.options.append(attrs.get("value", ""))
            if "selected" in attrs or len(self._select.options) == 1:
                self._select.value = attrs.get("value", "")
        elif "form" not in attrs:
            one = Field(attrs.get("name", ""), attrs.get("type", tag), attrs.get("value", ""))
            one.attrs, one.chosen = attrs, "checked" in attrs
            told_by = [attrs.get("aria-describedby", ""), *self._groups]
            one.described_by = " ".join(told_by).split()
            if one.is_box and "value" not in attrs:
                one.value = "on"
            self._form.fields.append(one)
            self._area = one if tag == "textarea" else None
            self._select = one if tag == "select" else None

    def handle_endtag(self, tag):
        if tag == "form":
            self._form = None
        elif tag == "textarea" and self._area:
            # As browsers do: the line break right after the tag is not part of it.
            self._area.value, self._area = self._area.value.removeprefix("\n"), None
        elif tag == "select":
            self._select = None
        elif tag == "fieldset" and self._groups:
            self._groups.pop()
        elif tag == "ul" and self._open:
            self._open.pop()

    def handle_data(self, data):
        if self._area:
            self._area.value += data
        for key in self._open:
            self.texts[key] += data


def fields_with(page: str, name: str) -> dict[str, list[str]]:
    """What a browser would send of the one form on the page that has a field of this name."""
    (found,) = [form for form in Page(page).all_forms if form.named(name)]
    return found.sent()


def form_with(answer, name: str) -> dict[str, list[str]]:
    return fields_with(answer.content.decode(), name)

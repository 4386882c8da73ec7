"""What a browser without script would send of a form on a page."""

from html.parser import HTMLParser


class _Forms(HTMLParser):
    """The fields of every form, as ``{name: [values]}``, and its address."""

    def __init__(self):
        super().__init__()
        self.forms, self._text, self._select = [], None, None

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        name = given.get("name")
        if tag == "form":
            self.forms.append((given.get("action", ""), {}))
        if not self.forms:
            return
        fields = self.forms[-1][1]
        if tag == "input" and name and given.get("type") not in ("file", "submit"):
            if given.get("type") in ("radio", "checkbox"):
                if "checked" in given:
                    fields.setdefault(name, []).append(given.get("value", "on"))
            else:
                fields.setdefault(name, []).append(given.get("value") or "")
        elif tag == "textarea":
            self._text = (name, "")
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select and "selected" in given:
            fields.setdefault(self._select, []).append(given.get("value", ""))

    def handle_data(self, data):
        if self._text:
            self._text = (self._text[0], self._text[1] + data)

    def handle_endtag(self, tag):
        if tag == "textarea" and self._text:
            name, text = self._text
            # A browser drops the line break that follows the tag.
            self.forms[-1][1].setdefault(name, []).append(text.removeprefix("\n"))
            self._text = None
        elif tag == "select":
            self._select = None


def fields_with(page: str, name: str) -> dict:
    """The fields of the one form on the page that has a field of this name."""
    parser = _Forms()
    parser.feed(page)
    (found,) = [fields for _, fields in parser.forms if name in fields]
    return found


def form_with(answer, name: str) -> dict:
    return fields_with(answer.content.decode(), name)

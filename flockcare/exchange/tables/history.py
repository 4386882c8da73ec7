"""The history of records: what each held before somebody changed or deleted it.

Keys of records differ from one installation to the next, so an exchange refers to them by kind and
place: ``feet.Check 12`` is the twelfth check in the order of the files. ``gone 3`` is a record that
was deleted, ``keeper Ros`` a person, ``flock`` the flock itself.
"""

import json
import uuid
from collections import Counter, defaultdict

from flockcare.exchange import cells
from flockcare.exchange.tables.base import Key, Table
from flockcare.exchange.tables.columns import Kind, code, fields_of, person
from flockcare.people.models import Keeper, Revision

# Who belongs to a flock and which links were handed out stays in its installation.
OF_PEOPLE, KEPT_OF_PEOPLE = "people.", "people.Flock"
REFERENCE, FLOCK, GONE, KEEPER = "@ref", "flock", "gone", "keeper"
# The field of a byline that names a person who is only mentioned.
PERSON = "name"
# Keys have 128 bits, and a field for one takes a whole number for a key as well.
_LARGEST_NUMBER = 2**64


def _as_key(text: str) -> str:
    """The key of a record that this text may stand for, in any of its forms; else empty."""
    try:
        return str(uuid.UUID(text))
    except ValueError:
        return ""


def _with_keys(value, change):
    """``value`` (from JSON) with ``change(text)`` in place of every key of a record in it."""
    if isinstance(value, dict):
        return {
            f"@{change(key)}" if (key := _as_key(name)) else name: _with_keys(inner, change)
            for name, inner in value.items()
        }
    if isinstance(value, list):
        return [_with_keys(inner, change) for inner in value]
    if isinstance(value, str) and (key := _as_key(value)):
        return {REFERENCE: change(key)}
    return value


def _with_references(value, resolve):
    """The reverse of ``_with_keys``. ValueError for a bare key.

    An earlier version can be brought back, and a key that somebody wrote into the file would then
    lead to a record of a flock that is not theirs.
    """
    if isinstance(value, str):
        return _bare(value)
    if isinstance(value, int | float) and abs(value) >= _LARGEST_NUMBER:
        raise ValueError(f"{value} is not a number that a record could have.")
    if isinstance(value, dict):
        if set(value) == {REFERENCE}:
            return str(resolve(value[REFERENCE]))
        return {
            _name(name, resolve): _with_references(inner, resolve) for name, inner in value.items()
        }
    if isinstance(value, list):
        return [_with_references(inner, resolve) for inner in value]
    return value


def _name(name: str, resolve) -> str:
    return str(resolve(name[1:])) if name.startswith("@") else _bare(name)


def _bare(text: str) -> str:
    if _as_key(text):
        raise ValueError(f"“{text}” names a record by its key; here it must be a reference.")
    return cells.plain(text)


def _json(value) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


class Past:
    """Writes the history of a flock, once it knows the places of the records it speaks of."""

    def __init__(self, flock, bylines):
        self.flock, self.bylines = flock, bylines
        revisions = Revision.objects.filter(flock=flock).select_related("by").order_by("pk")
        # How a whole flock came here says nothing of its records, and they go on as they came.
        whole = Revision.Tool.EXPORT
        revisions = revisions.exclude(tool=whole).exclude(first__tool=whole)
        self.revisions = [
            revision
            for revision in revisions
            if revision.kind == KEPT_OF_PEOPLE or not revision.kind.startswith(OF_PEOPLE)
        ]
        self.mentioned, self._marks = set(), defaultdict(list)
        for revision in self.revisions:
            self.mentioned.add(str(revision.record))
            self._marks[revision.record].append(revision.at.isoformat())
            _with_keys(revision.before, lambda key: self.mentioned.add(key) or key)
        self.references = {str(flock.pk): FLOCK}
        self._known, self._counted = set(), Counter()

    def marks(self, key: Key) -> list[str]:
        """Tells apart records that say the same today."""
        return self._marks.get(key.pk, [])

    def know(self, *keys: Key) -> None:
        """In the order of the files; a record that was known before keeps its place."""
        for kind, pk in keys:
            if pk in self._known:
                continue
            self._known.add(pk)
            self._counted[kind] += 1
            if str(pk) in self.mentioned:
                self.references[str(pk)] = f"{kind} {self._counted[kind]}"

    def rows(self, table) -> list[dict[str, str]]:
        self._know_people()
        # Deleted records are numbered in the order of the rows, which must not rest on their keys;
        # so are changes that were made together.
        drafts = sorted(
            ((table.cells(self._row(one, lambda _: GONE)), one) for one in self.revisions),
            key=lambda pair: (pair[1].at, pair[0]),
        )
        gone, sets = {}, {}
        shared = {one.first_id for one in self.revisions if one.first_id}

        def number(key):
            return f"{GONE} {gone.setdefault(key, len(gone) + 1)}"

        def together(one):
            key = one.changeset
            return str(sets.setdefault(key, len(sets) + 1)) if key in shared else ""

        return [
            {**self._row(one, number), "together": together(one), "words": one.words}
            for _, one in drafts
        ]

    def _know_people(self) -> None:
        left = sorted(self.mentioned - set(self.references))
        for start in range(0, len(left), 500):
            for keeper in Keeper.objects.filter(pk__in=left[start : start + 500]):
                self.references[str(keeper.pk)] = f"{KEEPER} {keeper.name}"
        for (key, field), name in self.bylines.items():
            if field == PERSON:
                self.references[str(key)] = f"{KEEPER} {name}"

    def _row(self, revision, otherwise) -> dict[str, str]:
        def reference(key):
            return self.references.get(key) or otherwise(key)

        return {
            "at": cells.moment_text(revision.at, self.flock.zone),
            "by": revision.by.name if revision.by else revision.by_name,
            "deed": revision.action,
            "kind": revision.kind,
            "record": reference(str(revision.record)),
            "before": _json(_with_keys(revision.before, reference)),
        }


class _Records:
    """Finds the record that a reference of the file means, among those about to be added."""

    def __init__(self, work):
        self.work = work
        self.new = {model._meta.label: records for model, records in work.plan.new.items()}
        self.gone, self.people = defaultdict(uuid.uuid4), {}

    def key(self, reference: str) -> uuid.UUID:
        if reference == FLOCK:
            return self.work.flock.pk
        label, _, rest = str(reference).partition(" ")
        if label == GONE:
            return self.gone[rest]
        if label == KEEPER:
            return self._person(rest)
        if rest.isdecimal() and 0 < int(rest) <= len(self.new.get(label, ())):
            return self.new[label][int(rest) - 1].pk
        raise ValueError(f"There is no record “{reference}” in these files.")

    def _person(self, name: str) -> uuid.UUID:
        known = self.work.keepers.get(name)
        if known:
            return known.pk
        if name not in self.people:
            self.people[name] = uuid.uuid4()
            self.work.plan.sign(self.people[name], PERSON, name)
        return self.people[name]


def _no_number(word: str):
    """RFC 8259 knows no NaN and no infinity, and neither do databases."""
    raise ValueError(f"{word} is not a number.")


def _object(text: str) -> dict:
    try:
        found = json.loads(text, parse_constant=_no_number)
    except ValueError:
        raise ValueError("This is not JSON.") from None
    if not isinstance(found, dict):
        raise ValueError("This is not an object in JSON.")
    return found


_revision = fields_of(Revision)


class History(Table):
    name = "history.csv"
    about = "What records held before somebody changed or deleted them."
    model = Revision
    columns = (
        _revision("at", "When it was changed.", needed=True),
        person("Who changed it, by name.", "by"),
        _revision("deed", "What was done.", field="action"),
        _revision("kind", "What kind of record it is, by the app’s own name.", Kind.CODE),
        code("record", "Which record, as a reference."),
        code("before", "What it held, as JSON (RFC 8259) with references to records."),
        code("together", "The same number: changed in one go."),
        _revision("words", "What was done in one go, at the first of its rows.", Kind.NOTE),
    )

    def rows(self, outgoing):
        """Refers to the rows of all others, so it comes last."""
        return ((self.cells(row), ()) for row in outgoing.past.rows(self))

    def plan(self, work) -> None:
        """Into an empty flock only: elsewhere the places of the records tell nothing."""
        if not work.was_empty:
            work.plan.already_there[self.name] += len(work.tables[self.name])
        elif not work.problems:  # Records with a problem are missing in the counts.
            records, firsts = _Records(work), {}
            work.plan.add(*work.read(self).each(lambda row: self._revision(row, records, firsts)))

    def _revision(self, row, records, firsts) -> Revision:
        """``firsts``: by the number of what was changed in one go, the first of its rows."""

        def before(text):
            try:
                return _with_references(_object(text), records.key)
            except RecursionError:
                raise ValueError("This is nested too deeply.") from None

        told = {"record": row.need("record", records.key), "before": row.need("before", before)}
        revision = Revision(flock=row.work.flock, **self.values(row), **told)
        if revision.by is None:
            revision.by_name = self.column("by").value(row) or ""
        if together := row.text("together"):
            revision.began_with = firsts.setdefault(together, revision)
        return revision

"""Taking in somebody's own spreadsheet: what its columns and words mean, a look, and then the rows.

One address and plain forms: the table travels in the page, so that nothing is lost between two
looks and nothing is kept before it is wanted.
"""

import csv
import io

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.html import format_html

from flockcare.exchange.cells import guard
from flockcare.exchange.importing import in_words
from flockcare.exchange.limits import LARGEST_TABLE
from flockcare.exchange.services import Refused, apply
from flockcare.exchange.spreadsheet.forms import SheetForm
from flockcare.exchange.spreadsheet.memory import remember, remembered
from flockcare.exchange.spreadsheet.sheet import WHY_NOT, Sheet, read_sheet, read_text
from flockcare.exchange.spreadsheet.targets import TABLES
from flockcare.exchange.spreadsheet.translating import Found, Mapping
from flockcare.people.access import flock_view
from flockcare.people.models import Role

# Rows of the table as it is, and of how it is read.
PREVIEWED = 8
MOST_WRONG_SHOWN = 200
PLACES = {"birds": "birds", "weights": "birds", "care": "care:list"}


@flock_view(Role.KEEPER, read=Role.KEEPER)
def spreadsheet(request, flock):
    if "packed" in request.POST:
        return _look(request, flock)
    form = SheetForm(request.POST or None, request.FILES or None)
    if form.is_valid():
        try:
            sheet = sheet_of(form.cleaned_data)
            return _show(request, flock, form.cleaned_data["table"], sheet, told={})
        except ValueError as error:
            form.add_error("file" if form.cleaned_data["file"] else "pasted", str(error))
    context = {"flock": flock, "here": "more", "form": form}
    status = 422 if form.is_bound else 200
    return render(request, "exchange/spreadsheet.html", context, status=status)


def sheet_of(cleaned: dict) -> Sheet:
    if cleaned["file"]:
        return read_sheet(cleaned["file"].read(LARGEST_TABLE + 1))
    return read_text(cleaned["pasted"])


def _look(request, flock):
    table = request.POST.get("table", "")
    try:
        sheet = Sheet.unpack(request.POST["packed"])
        if table not in TABLES:
            raise ValueError("Say what the table is about.")
    except ValueError as error:
        messages.error(request, str(error))
        return redirect("exchange:spreadsheet", flock.pk)
    # Another kind of table has other columns: what was chosen for the old ones means nothing.
    same = request.POST.get("table_before") == table
    return _show(request, flock, table, sheet, told=request.POST if same else {})


def _show(request, flock, table: str, sheet: Sheet, told):
    mapping = Mapping(flock, table, sheet, told or remembered(flock, table, sheet))
    found = None if mapping.mistakes else mapping.read()
    if "refused" in told and found and found.wrong:
        return _refused_rows(sheet, found)
    wanted, refused, changesets = told.get("take", ""), None, []
    # What was chosen after the preview was not seen yet as it would be taken in.
    changed = bool(wanted and found and told.get("previewed") != found.mark)
    if wanted and not changed and found and found.plan and (wanted == "good" or not found.wrong):
        try:
            apply(found.plan, by=request.user, done=changesets.append)
        except Refused as error:
            refused = error
        else:
            remember(mapping)
            return _taken(request, flock, table, found, changesets[0])
    context = {
        "flock": flock,
        "here": "more",
        "mapping": mapping,
        "table": table,
        "tables": TABLES.items(),
        "packed": sheet.pack(),
        "remembered": not told and bool(mapping.told),
        "mistakes": mapping.mistakes,
        "refused": refused,
        "changed": changed,
        "looked": bool(told),
        **_of_rows(found),
    }
    return render(request, "exchange/mapping.html", context, status=422 if wanted else 200)


def _of_rows(found: Found | None) -> dict:
    """What the page says of the rows, once they can be read."""
    if found is None:
        return {}
    return {
        "found": found,
        "preview": _preview(found),
        "wrong": found.wrong[:MOST_WRONG_SHOWN],
        "good": len(found.rows),
        "bad": found.bad_rows,
        "there": sum(found.plan.already_there.values()) if found.plan else 0,
    }


def _refused_rows(sheet: Sheet, found: Found):
    """A file to correct and send again: what was refused, and why in the last column."""
    out = io.StringIO(newline="")
    write = csv.writer(out).writerow
    write([guard(cell) for cell in (*sheet.header, WHY_NOT)])
    why = found.why_not
    for number, cells in sheet.rows:
        if number in why:
            write([guard(cell) for cell in (*cells, f"Row {number}. {why[number]}")])
    return HttpResponse(
        # Spreadsheets know UTF-8 by the mark in front.
        out.getvalue().encode("utf-8-sig"),
        content_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": 'attachment; filename="rows-to-correct.csv"',
            "Cache-Control": "no-store",
        },
    )


def _preview(found: Found) -> dict | None:
    if not found.rows:
        return None
    rows = found.rows[:PREVIEWED]
    names = list(dict.fromkeys(name for row in rows for name in row.cells))
    return {
        "names": [name.replace("_", " ") for name in names],
        "rows": [(row.line, [row.cells.get(name, "") for name in names]) for row in rows],
    }


def _taken(request, flock, table: str, found: Found, changeset: int | None):
    there = sum(found.plan.already_there.values())
    told = [f"Imported: {in_words(found.plan)}."]
    if there:
        told.append(f"{there} {'row was' if there == 1 else 'rows were'} there already.")
    if found.wrong:
        count = found.bad_rows
        told.append(f"{count} {'row was' if count == 1 else 'rows were'} left out.")
    said = " ".join(told)
    if changeset:
        back = reverse("pages:changeset", args=[flock.pk, changeset])
        said = format_html('{} <a href="{}">Undo this import</a>', said, back)
    messages.success(request, said)
    if table in PLACES:
        return redirect(PLACES[table], flock.pk)
    return redirect("today", flock.pk)

"""Why the folder of a plant is not read in: what is wrong, in which file and row, and what to do about it."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from plant.calc.export_folder import FolderRule
from plant.calc.reasons import Reason
from plant.calc.units import UnitSystem
from plant.words.reasons import Texts, sentence

TEXTS: Texts = {
    FolderRule.NO_FOLDER: _("There is no folder and no ZIP file %(path)s. Name the one that was written by the site."),
    FolderRule.NO_MANIFEST: _(
        "%(path)s has no manifest.json that can be read, so it is not the folder of a plant, or a part of it is lost. "
        "Get the whole folder again."
    ),
    FolderRule.LATER_VERSION: _(
        "The folder was written by version %(theirs)s of the site, and this site is version %(ours)s. Bring this site "
        "up to date first."
    ),
    FolderRule.MISSING: _("%(file)s is named in manifest.json and is not there. Get the whole folder again."),
    FolderRule.NOT_LISTED: _(
        "%(file)s is not named in manifest.json. Get the whole folder again, and leave the manifest as it is."
    ),
    FolderRule.UNKNOWN_FILE: _(
        "%(file)s holds a kind of rows that this site does not know. Was it put there by hand? Then take it and its "
        "line in manifest.json away."
    ),
    FolderRule.BYTE_ORDER_MARK: _(
        "%(file)s, row 1: the file begins with a mark that another program put there when it saved it. Get the file "
        "again from the folder as it was written, or save it as UTF-8 without a byte order mark."
    ),
    FolderRule.NOT_UTF8: _(
        "%(file)s, row %(row)s: byte %(byte)s is no UTF-8; another program saved the file in another encoding. Get the "
        "file again from the folder as it was written, or save it as UTF-8."
    ),
    FolderRule.HEADS_ORDER: _(
        "%(file)s, row 1: the columns stand in another order. Get the file again, or put them back: %(wanted)s."
    ),
    FolderRule.HEAD_MISSING: _("%(file)s, row 1: the column %(head)s is missing. Get the file again."),
    FolderRule.HEAD_UNKNOWN: _(
        "%(file)s, row 1: this site knows no column %(head)s there. Get the file again, or take the column away."
    ),
    FolderRule.CELLS: _(
        "%(file)s, row %(row)s has %(found)s cells instead of %(wanted)s. Get the file again; if it was changed on "
        "purpose, put texts with commas or ends of lines in quotation marks."
    ),
    FolderRule.BREAKS_OFF: _(
        "%(file)s breaks off in row %(row)s: the rest of the file is lost. Get the file again from the folder as it "
        "was written."
    ),
    FolderRule.UNREADABLE: _(
        "%(file)s, row %(row)s is no row of CSV: a quotation mark stands where none may. Get the file again."
    ),
    FolderRule.N_ROWS: _(
        "%(file)s has %(found)s rows, and manifest.json says %(wanted)s. Get the file again from the folder as it was "
        "written."
    ),
    FolderRule.NOT_STATED: _(
        "%(file)s, row %(row)s: %(column)s is empty and must not be. Fill it in, or get the file again."
    ),
    FolderRule.NO_VALUE: _(
        "%(file)s, row %(row)s: “%(text)s” in %(column)s is no %(kind)s as these files write it. Put it right, or get "
        "the file again."
    ),
    FolderRule.TOO_LONG: _(
        "%(file)s, row %(row)s: the text in %(column)s has %(found)s characters, and %(most)s is the most. Shorten it, "
        "or get the file again."
    ),
    FolderRule.POINTS_NOWHERE: _(
        "%(file)s, row %(row)s: %(column)s names “%(text)s”, which is not in %(other)s. Get both files again; if a row "
        "was taken away on purpose, take away what names it too."
    ),
    FolderRule.TWICE: _(
        "%(file)s, row %(row)s says again what row %(first)s says (%(text)s). Take one of the two away, or get the "
        "file again."
    ),
    FolderRule.NO_KEY: _("%(file)s, row %(row)s: “%(text)s” is no row key. Get the file again."),
    FolderRule.NO_FILE: _(
        "%(file)s, row %(row)s names %(text)s, which is not in the folder. Get the whole folder again."
    ),
    FolderRule.CHANGED: _(
        "%(file)s is not as the site wrote it: its checksum is another. Get the file again from the folder as it was "
        "written."
    ),
    FolderRule.PLANT_KNOWN: _(
        "This plant is in the book of this site already, as %(name)s. A plant is read in once; nothing was written."
    ),
    FolderRule.NAME_TAKEN: _(
        "This site has a plant named %(name)s already. Read the folder into another site, or rename that plant first; "
        "nothing was written."
    ),
    FolderRule.ONE_PLANT: _("plant.csv has %(found)s rows instead of one. Get the file again."),
    FolderRule.REFUSED: _(
        "The data base does not take the rows of %(file)s (%(why)s). Nothing was written. Was the folder changed by "
        "hand? Then get it again."
    ),
    FolderRule.NOT_EQUAL: _(
        "What was read of %(file)s is not what stands there, so nothing was kept. This is a fault of the site: tell "
        "whoever makes it, with the log."
    ),
}


def fault_words(fault: Reason) -> str:
    """One sentence with its remedy."""
    return sentence(fault, TEXTS, UnitSystem.METRIC)

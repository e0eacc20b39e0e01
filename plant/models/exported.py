"""What of a model goes out when a plant is taken out of the site as open files, and what stays, with the reason.

Each model says it of itself, as `exported`; the columns, their types and what they point to are read off its fields.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

Words = str | Promise


@dataclass(frozen=True)
class Exported:
    """How rows of a model stand in the files.

    Attributes
    ----------
    file : str
        Name of the file, without its ending.
    key : tuple of str
        The columns that tell rows of one plant apart. One alone is how other files name the row; a model without such
        a column is named by its row key (`client_key`).
    plant_path : str
        Leads from a row to its plant; empty where the query set says it.
    stays : mapping of str to str
        Columns that do not go out, with the reason.
    meanings : mapping of str to str
        What a column holds, where the model gives it no name of its own.
    units : mapping of str to str
        Units that a name does not tell; "1" for a count or a ratio.
    keys_in : mapping of str to str
        JSON columns that name rows by keys: the model, and behind a colon the entry that holds them in each part.
    addresses : mapping of str to str
        Addresses of this site in JSON columns, by the name of the page (or of a word behind "?"): whose key stands in
        it. Only columns of `addresses_in` are looked through.
    """

    file: str
    key: tuple[str, ...] = ()
    plant_path: str = ""
    stays: Mapping[str, Words] = field(default_factory=dict)
    meanings: Mapping[str, Words] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    keys_in: Mapping[str, str] = field(default_factory=dict)
    addresses_in: tuple[str, ...] = ()
    addresses: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class NotExported:
    """Why rows of a model do not go out."""

    why: Words


# Tables that other packages bring.
OF_OTHERS: Mapping[str, Words] = {
    "auth.Permission": _("made by the site itself from its table of rights"),
    "auth.Group": _("the roles: every site has the same, and files name them"),
    "contenttypes.ContentType": _("made by the site itself"),
    "sessions.Session": _("sign-ins of this site"),
    "axes.AccessAttempt": _("tries to sign in at this site"),
    "axes.AccessAttemptExpiration": _("tries to sign in at this site"),
    "axes.AccessFailureLog": _("tries to sign in at this site"),
    "axes.AccessLog": _("sign-ins of this site"),
}

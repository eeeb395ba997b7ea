"""A laboratory report read with what the season knows of its laboratories, and what it has to be told."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from fertadjust.entry import default_basis
from fertadjust.errors import Fault, UserError
from fertadjust.lab.profile import Profile, told
from fertadjust.lab.report import Report, read_report
from fertadjust.lab.words import loose
from fertadjust.laboratories import Laboratories
from fertadjust.season_file import SeasonFile
from fertadjust.tissue import Tissue


@dataclass(frozen=True, slots=True)
class Reading:
    """A report as read.

    Attributes:
        report: the report; its questions are still open.
        profile: what the report was read with.
        known_as: name of the kept profile that it was read with, or "".
        changed: whether the profile holds answers that are not kept yet.
    """

    report: Report
    profile: Profile
    known_as: str
    changed: bool


def read_known(
    data: bytes,
    name: str,
    laboratories: Laboratories,
    laboratory: str = "",
    answers: Iterable[tuple[str, str]] = (),
    *,
    sap_or_dry: str = "",
) -> Reading:
    """Read a report with the profile of its laboratory: the one named, else the only one with the report's header.

    Args:
        data, name: the file's bytes and name.
        laboratories: the season's profiles.
        laboratory: name of a profile, or "".
        answers: further answers, as question key and answer.
        sap_or_dry: basis of petiole values where the report says none and the season's tables leave one only.

    Raises:
        UserError: the file is no report, or an answer will not do.
    """
    known_as = laboratory if laboratory in laboratories.laboratories else ""
    if not laboratory and laboratories.laboratories:
        known_as = _profile_of(data, name, laboratories, sap_or_dry)
    kept = laboratories.laboratories.get(known_as, Profile())
    profile = kept
    for key, answer in answers:
        profile = told(profile, key, answer)
    report = read_report(data, name, profile, sap_or_dry=sap_or_dry)
    return Reading(report, profile, known_as, profile != kept)


def _profile_of(data: bytes, name: str, laboratories: Laboratories, sap_or_dry: str) -> str:
    """Name of the profile that a file is recognised by, or ""."""
    found = read_report(data, name, Profile(), sap_or_dry=sap_or_dry)
    if any(item.key == "sheet" for item in found.questions):
        return _by_sheet(data, name, laboratories, sap_or_dry)
    return laboratories.profile_for(found.header) or ""


def _by_sheet(data: bytes, name: str, laboratories: Laboratories, sap_or_dry: str) -> str:
    """The only profile that names a sheet of the file with its own header, or ""."""
    fitting = []
    for known_as, profile in laboratories.laboratories.items():
        if profile.sheet:
            header = read_report(data, name, Profile(sheet=profile.sheet), sap_or_dry=sap_or_dry).header
            if header and tuple(map(loose, header)) == profile.header:
                fitting.append(known_as)
    return fitting[0] if len(fitting) == 1 else ""


def kept_with(laboratories: Laboratories, name: str, reading: Reading) -> Laboratories:
    """The laboratories with the profile that a report was read with, recognised by its header from now on.

    Raises:
        UserError: the name will not do.
    """
    if not re.fullmatch(r"[a-z0-9][a-z0-9_-]*", name):
        message = f'"{name}" should be of small letters, digits, - and _, such as valley-lab'
        raise UserError(Fault(message, key="--laboratory"))
    profile = reading.profile.model_copy(update={"header": tuple(map(loose, reading.report.header))})
    return laboratories.model_copy(update={"laboratories": laboratories.laboratories | {name: profile}})


def usual_basis(file: SeasonFile) -> str:
    """Basis of petiole values in a season: "dry", "sap", or "" where its band tables leave it open."""
    basis = default_basis(file, Tissue.PETIOLE)
    return "" if basis is None else basis.value


def open_questions(report: Report) -> UserError:
    """What a report leaves open, as faults that say how to answer."""
    return UserError(
        [
            Fault(
                f'{item.text} Say it with --tell "{item.key}={"|".join(item.choices) or "..."}"',
                item.where,
            )
            for item in report.questions
        ]
    )

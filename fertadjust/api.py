"""The Python interface: a season folder opened, written to and asked. The command line uses these calls.

>>> import fertadjust                                                   # doctest: +SKIP
>>> season = fertadjust.open_season("my-season")                        # doctest: +SKIP
>>> season.add_result(block="north", sampled="2026-03-09", value="2310", petioles="25")  # doctest: +SKIP
>>> print(season.advice("north", date(2026, 3, 12)).recommendation.action)  # doctest: +SKIP
"""

from __future__ import annotations

import getpass
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fertadjust.advice_data import advice_data
from fertadjust.audit import RecordsAudit, audit_records
from fertadjust.deciding import Choice, basis_of, decision_content
from fertadjust.decision_audit import Derived, audit_decisions, derived_advice
from fertadjust.entry import block_of
from fertadjust.errors import Fault, UserError
from fertadjust.feeding import Dose, Farm
from fertadjust.files import read_bytes
from fertadjust.known_results import Allowed
from fertadjust.laboratories import read_laboratories
from fertadjust.mix_sheet import MixSheet
from fertadjust.purchase import PurchaseLine
from fertadjust.record import Draft, Kind, standing, standing_on
from fertadjust.report_reading import open_questions, read_known, usual_basis
from fertadjust.season import Advice
from fertadjust.season_book import PROGRAM, SeasonBook, today_here
from fertadjust.season_file import read_season
from fertadjust.stored import Decided, decided_of, with_records

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from pandas import DataFrame

    from fertadjust.history import Moment
    from fertadjust.review import FarmReview, Review
    from fertadjust.simulate.outlook import Outlook


def open_season(folder: str | Path) -> Season:
    """Open a season folder.

    Raises:
        UserError: the folder has no season file, or every fault of it.
    """
    return Season(read_season(Path(folder)))


class Season(SeasonBook):
    """A season folder: its checked season file and its records; see `SeasonBook` for what writes to it.

    Attributes:
        file: the season file.
        records: the records.
    """

    def advice(self, block: str, on: date | None = None) -> Advice:
        """The advice for a block on a date, today by default."""
        day = on or today_here()
        return self.block(block, day).advice(day)

    def outlook(
        self,
        block: str,
        *,
        seasons: int = 1000,
        scenario: str = "usual",
        seed: int | None = None,
        tried: Mapping[str, Any] | None = None,
        processes: int = 1,
    ) -> Outlook:
        """Simulated seasons like a block's, under its plan and under its rules; records play no part.

        Args:
            block: by key or name.
            seasons: how many, 10 to 100,000.
            scenario: a shipped scenario's id, or the path of a file that ends in .toml.
            seed: of the draws, 0 to 2**32 - 1; the scenario's own when none is given.
            tried: policy values to try beside the season's own, name -> value. Nitrogen per area is in lb/ac
                whatever the season's units; rows of the cross-check table stand as
                ``{"cross_check": {"low-leaf-sufficient": "full"}}``.
            processes: processors to use, 1 or more; they change nothing but the time.

        Measures are `fertadjust.simulate.measures.MEASURES`: shares from 0 to 1, nitrogen in lb/ac.

        >>> ahead = season.outlook("creek", seasons=200, tried={"confidence": 0.9})  # doctest: +SKIP
        >>> rules, plan = ahead.run("rules"), ahead.run("plan")  # doctest: +SKIP
        >>> rules.estimate("in_band").mean, rules.beside(plan, "applied").low  # doctest: +SKIP

        Raises:
            UserError: a number out of range, no model of the crop as it is grown, no such scenario, nothing to
                place the crop by, or a tried value that the policy does not have or allow.
        """
        from fertadjust.simulate.outlook import check_numbers, outlook
        from fertadjust.simulation_files import model_for, scenario_of
        from fertadjust.simulation_tries import check_tried

        one = block_of(self.file, block)
        check_numbers(seasons, seed, processes)
        check_tried(one.policy, tried or {})
        model, (given, origin) = model_for(self.file), scenario_of(scenario)
        return outlook(one, model, given, seasons, seed, tried, processes, origin=origin)

    def advice_data(self, block: str, on: date | None = None) -> dict[str, Any]:
        """The advice as JSON-ready data."""
        day = on or today_here()
        season = self.block(block, day)
        return advice_data(season.advice(day), season.mixes.every(), self.units)

    def decide(
        self,
        block: str,
        choice: Choice,
        on: date | None = None,
        *,
        rate: float | None = None,
        reason: str = "",
        by: str = "",
        today: date | None = None,
    ) -> int:
        """Write a decision on the advice of a day; the record number.

        Args:
            block: block key or name.
            choice: accept the advice, change it to another rate, or leave the rate as it is.
            on: day of the decision, today by default.
            rate: rate of the first week in the season's unit, for "change" only; a ramp is followed in proportion.
            reason: why; needed for "change" and "leave".
            by: who decides.
            today: day of entry, when it is not the calendar's.

        The decision stores all that the advice was made from, so that `derive_again` can repeat it.

        Raises:
            UserError: a missing or wrong rate, a rate outside the bounds, no reason, or no week left to change.
        """
        now = today or today_here()
        on = on or now
        if on > now:
            raise UserError(Fault(f"{on} is after today, {now}", key="on"))
        season = self.block(block, on)
        every = self.records.all()
        basis = basis_of(season, self.file.text, every[-1].number if every else 0, PROGRAM)
        who = by or getpass.getuser()
        own = None if rate is None else self.units.rate_in(rate)
        content = decision_content(season, season.advice(on), choice, own, reason, who, self.units, basis)
        day, key = on.isoformat(), season.block.key
        earlier = [
            item.number for item in self.records.current(Kind.DECISION) if (item.block, item.day) == (key, day)
        ]
        replaced = earlier[-1] if earlier else None
        why = "decided again on the same day" if earlier else ""
        return self._write([Draft(Kind.DECISION, key, day, content, replaced, why)], who)[0]

    def import_report(
        self,
        path: str | Path,
        *,
        laboratory: str = "",
        answers: Mapping[str, str] | None = None,
        samples: Mapping[str, str] | None = None,
        allowed: Allowed | None = None,
        by: str = "",
        today: date | None = None,
    ) -> list[int]:
        """Take the results of a laboratory report, all or none; the record numbers.

        Args:
            path: a CSV file, a spreadsheet or JSON; see `fertadjust.lab.report.read_report`.
            laboratory: name of the kept profile to read with; found by the report's header when empty.
            answers: question key -> answer, for what the report leaves open. They are not kept.
            samples: name of a sample -> block key, besides those that are kept.
            allowed: whether unusual values and revised ones are taken; neither by default.
            by: who imports it.
            today: day of entry, when it is not the calendar's.

        Raises:
            UserError: everything that is open or will not do; nothing is written.
        """
        path = Path(path)
        known = read_laboratories(self.file.folder)
        reading = read_known(
            read_bytes(path),
            path.name,
            known,
            laboratory,
            list((answers or {}).items()),
            sap_or_dry=usual_basis(self.file),
        )
        if reading.report.questions:
            raise open_questions(reading.report)
        every = known.samples | dict(samples or {})
        found = self.hold(reading.report, path.name, every, allowed or Allowed(), today)
        if found.left_out:
            raise UserError(dict.fromkeys(item.fault for item in found.left_out))
        return self.take(found, path.name, by=by)

    def derive_again(self, number: int) -> dict[str, Any]:
        """The advice behind a decision, computed again from what the decision stored; compare with `advised`.

        Raises:
            UserError: there is no such decision; or as for `fertadjust.decision_audit.derived_advice`.
        """
        return derived_advice(self._decision(number), self.records.all(), self.file)

    def audit(self, seal: str = "") -> tuple[RecordsAudit, list[Derived]]:
        """The records checked, and every decision derived again; the latter is empty where records cannot be read.

        Args:
            seal: an earlier audit's seal, which must still hold, or "".

        Raises:
            UserError: the file cannot be read as records at all, or the seal is none.
        """
        found = audit_records(self.file.folder, self.records, seal)
        if not found.readable:
            return found, []
        return found, audit_decisions(self.file, self.records.all(), PROGRAM)

    def advised(self, number: int) -> dict[str, Any]:
        """The advice as stored with a decision.

        Raises:
            UserError: there is no such decision.
        """
        data: dict[str, Any] = self._decision(number)["advice"]
        return data

    def decisions(self, block: str | None = None, on: date | None = None) -> list[Decided]:
        """Decisions in order, of one block or of all; those of up to a day, as they stood at its end."""
        key = None if block is None else block_of(self.file, block).block.key
        every = self.records.all(Kind.DECISION)
        records = standing(every) if on is None else standing_on(every, on)
        found = [decided_of(record) for record in records if key is None or record.block == key]
        return [item for item in found if on is None or item.on <= on]

    def history(self, block: str, on: date | None = None) -> list[Moment]:
        """What was advised on each day that a result came in or a decision was made, and what followed.

        Args:
            block: block key or name.
            on: day on which to look back, today by default.
        """
        from fertadjust.history import history_of

        return history_of(block_of(self.file, block), self.records.all(), on or today_here())

    def review(self, block: str, on: date | None = None) -> Review:
        """The season of a block looked back on from a day, today by default."""
        from fertadjust.review_of_season import review

        return review(self, block, on or today_here())

    def farm_review(self, on: date | None = None) -> FarmReview:
        """The season of all blocks looked back on from a day, today by default."""
        from fertadjust.review_of_season import review_of_farm

        return review_of_farm(self, on or today_here())

    def review_page(self, block: str | None = None, on: date | None = None) -> str:
        """The review of a block, or of all of them, as one self-contained HTML text."""
        from fertadjust.review_of_season import farm_review_page, review_page

        day = on or today_here()
        return farm_review_page(self, day) if block is None else review_page(self, block, day)

    def amounts(self, block: str, on: date | None = None) -> DataFrame:
        """The weekly table from a date on, one row a week, in the season's units.

        Columns: week, start, stage, planned, before, rate [rate unit], block_n, injection_n [weight],
        one column a product [weight], a second one for a liquid [volume], k2o, ca [weight], total [total unit],
        over_cap.
        """
        from fertadjust.frames import amounts_frame

        return amounts_frame(self.advice(block, on).weeks, self.units, self.block(block).mixes.used)

    def farm(self, on: date | None = None) -> Farm:
        """All blocks as known on a day, with how they are injected."""
        day = on or today_here()
        records = standing_on(self.records.all(), day)
        blocks = {key: with_records(block, records) for key, block in self.file.blocks.items()}
        return Farm(blocks, self.file.injecting, self.units)

    def mix_sheet(
        self, block: str | None = None, week: int | None = None, on: date | None = None, *, zone: str | None = None
    ) -> MixSheet:
        """What goes into the tank for one injection of a week, for a block or for all blocks of a zone.

        Args:
            block, zone: key or name; one of the two.
            week: number of the week, the running or the next one by default.
            on: day as of which it is asked, today by default; rates are those decided by then.

        Raises:
            UserError: neither or both are named, or what `fertadjust.feeding.Farm` cannot feed, with what it
            could.
        """
        day = on or today_here()
        if (block is None) == (zone is None):
            raise UserError("name a block or a zone, one of the two")
        if zone is not None:
            return self.farm(day).zone_sheet(zone, day, week)
        assert block is not None
        return self.farm(day).block_sheet(block_of(self.file, block).block.key, day, week)

    def doses(
        self, block: str, stock_n_lb: float, stock_gal: float, n_lb_ac: float | None, on: date | None = None
    ) -> list[Dose]:
        """How long to inject a block from a tank that is mixed already; see `fertadjust.feeding.Farm.doses`."""
        day = on or today_here()
        return self.farm(day).doses(block_of(self.file, block).block.key, stock_n_lb, stock_gal, n_lb_ac, day)

    def purchases(self, on: date | None = None) -> tuple[PurchaseLine, ...]:
        """What has to be bought for the rest of the season on every block, at the rates decided so far."""
        day = on or today_here()
        return self.farm(day).purchases(day)

    def calendar(self, on: date | None = None) -> bytes:
        """The coming injections, samples and reviews as an iCalendar file."""
        from fertadjust.outputs import calendar

        return calendar(self, on or today_here())

    def chart(self, block: str, on: date | None = None, *, phone: bool = False) -> Figure:
        """The season trend chart of a block as a matplotlib figure, of a page's size or a phone's."""
        from fertadjust.outputs import chart, paper

        return chart(self, block, on or today_here(), paper(phone))

    def blocks_chart(self, on: date | None = None, *, phone: bool = False) -> Figure:
        """Every block's results beside their band, on the same axes."""
        from fertadjust.outputs import blocks_chart, paper

        return blocks_chart(self, on or today_here(), paper(phone))

    def overview_chart(self, on: date | None = None, *, phone: bool = False) -> Figure:
        """Where every block lay in its band, a row a block and a column a week."""
        from fertadjust.outputs import overview_chart, paper

        return overview_chart(self, on or today_here(), paper(phone))

    def report(self, block: str, on: date | None = None) -> str:
        """The advisor's report of a block as one self-contained HTML text."""
        from fertadjust.outputs import report

        return report(self, block, on or today_here())

    def _decision(self, number: int) -> dict[str, Any]:
        for record in self.records.all(Kind.DECISION):
            if record.number == number and record.content is not None:
                return record.content
        raise UserError(f"there is no decision {number}")

"""From the feeding part of ``season.toml`` to products, mixes, tanks, injector, zones and credits."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from fertadjust.compatibility import clashes, refused, tanks_of
from fertadjust.credits import (
    TOP_FOOT_IN,
    CreditLine,
    NitrateForm,
    compost,
    cover_crop,
    soil_nitrate,
    spread_over_weeks,
    stated,
    water_nitrate,
)
from fertadjust.errors import UserError
from fertadjust.evidence import OWN_SOURCE, Evidence
from fertadjust.feeding_labels import label_faults, recalled_in_use
from fertadjust.feeding_model import (
    FORMS,
    SECONDARY,
    SHARE_TOLERANCE,
    CreditIn,
    CreditKind,
    InjectionIn,
    ProductIn,
)
from fertadjust.injection import Injecting, Injector, Pump, RatioInjector, Timing, Zone
from fertadjust.materials import Material, Solubility, find_material
from fertadjust.mixes import Mix, MixStep, mix_of
from fertadjust.products import Product, Shelf
from fertadjust.season_model import SeasonIn
from fertadjust.shipped import shipped_materials
from fertadjust.stages import stage_words
from fertadjust.stock import Tank
from fertadjust.toml_file import Place, TomlFile
from fertadjust.units import DAYS_PER_WEEK, LB_GAL_PER_KG_L

_OWN_SOLUBILITY_C = (-5.0, 60.0)
_WATER_C = (0.0, 60.0)
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


class FeedingReader:
    """Builds what a season file says about feeding and collects its faults and notes."""

    def __init__(self, file: TomlFile, given: SeasonIn) -> None:
        self.file = file
        self.given = given
        self.units = given.farm.units
        self.faults: list[tuple[Place, str]] = []
        self.notes: list[str] = []

    def _fault(self, message: str, *place: str | int) -> None:
        self.faults.append((place, message))

    # --- products -------------------------------------------------------------------------------------------

    def products(self) -> tuple[Product, ...]:
        """The products, each by its label first and its material second."""
        found = []
        for index, item in enumerate(self.given.products):
            product = self._product(index, item)
            if product is not None:
                found.append(product)
        names = [product.name for product in found]
        for name in sorted({name for name in names if names.count(name) > 1}):
            self._fault(f'the product "{name}" stands twice', "products")
        if self.given.mixes:
            for index, item in enumerate(self.given.products):
                if item.share > 0 or item.rate is not None:
                    key = "share" if item.share > 0 else "rate"
                    self._fault(f"{key} goes into [[mixes]], which say what feeds when", "products", index, key)
        else:
            total = sum(item.share for item in self.given.products)
            if abs(total - 1.0) > SHARE_TOLERANCE:
                self._fault(f"the shares of nitrogen add up to {total:g}; they should add up to 1", "products")
        return tuple(found)

    def _product(self, index: int, item: ProductIn) -> Product | None:
        try:
            material = find_material(item.material, shipped_materials()) if item.material else None
        except UserError as error:
            self._fault(error.faults[0].message, "products", index, "material")
            return None
        percent = self._percent(item, material)
        for key, message in label_faults(item, material, percent):
            self._fault(message, "products", index, key)
        density = self._density(index, item, material)
        if material is not None and not material.drip:
            self._fault(f"{material.name} is not for drip lines: {material.note}", "products", index, "material")
        problem = self._part_fault(item, percent)
        if problem:
            self._fault(problem, "products", index, "share" if item.share > 0 else "rate")
        forms = self._forms(item, material, percent["n"])
        shelf = self._shelf(item, density)
        return Product(
            name=item.name or (material.name if material is not None else item.material),
            percent=percent,
            share=item.share,
            density_lb_gal=density,
            nitrate_n=forms["nitrate_n"],
            ammonium_n=forms["ammonium_n"],
            urea_n=forms["urea_n"],
            lb_ac=0.0 if item.rate is None else self.units.rate_in(item.rate),
            solubility=None if density is not None else self._solubility(item, material),
            tank=item.tank or "",
            shelf=shelf,
        )

    @staticmethod
    def _part_fault(item: ProductIn, percent: Mapping[str, float]) -> str:
        if item.share > 0 and percent["n"] == 0:
            return "it holds no nitrogen and cannot have a share of it: give rate, its weight per area and week"
        if item.rate is not None and percent["n"] > 0:
            return "it holds nitrogen: give share, its share of the nitrogen, not a rate"
        return ""

    @staticmethod
    def _percent(item: ProductIn, material: Material | None) -> dict[str, float]:
        """The label's figures; a material's where the label is silent."""
        if material is None:
            return item.percent
        percent = item.percent if item.grade is not None else dict(material.percent)
        for key in SECONDARY:
            own = getattr(item, key)
            value = own if own is not None else material.percent.get(key, 0.0)
            percent.pop(key, None)
            if value > 0:
                percent[key] = value
        return percent

    @staticmethod
    def _forms(item: ProductIn, material: Material | None, n: float) -> dict[str, float | None]:
        """Forms of nitrogen by the label, else those of the material in proportion to the label's nitrogen."""
        own = {form: getattr(item, form) for form in FORMS}
        if material is None or any(value is not None for value in own.values()):
            return own
        typical, total = material.forms, material.percent["n"]
        if typical is None or total == 0:
            return own
        values = (typical.nitrate, typical.ammonium, typical.urea)
        return {form: value * n / total for form, value in zip(FORMS, values, strict=True)}

    def _density(self, index: int, item: ProductIn, material: Material | None) -> float | None:
        if item.density is not None:
            return self.units.density_in(item.density)
        if material is None or not material.liquid:
            return None
        if material.density is None:
            self._fault(f"{material.name} needs its density from the label", "products", index, "material")
            return 1.0
        return material.density.lb_gal

    def _solubility(self, item: ProductIn, material: Material | None) -> Solubility | None:
        if item.solubility is None:
            return None if material is None else material.used_solubility()
        limit = self.units.density_in(item.solubility) / LB_GAL_PER_KG_L
        low, high = _OWN_SOLUBILITY_C
        return Solubility(((low, limit), (high, limit)), OWN_SOURCE, Evidence.OWN)

    def _shelf(self, item: ProductIn, density: float | None) -> Shelf:
        def weight(amount: float) -> float:
            return self.units.weight_in(amount) if density is None else self.units.volume_in(amount) * density

        package = None if item.package is None else weight(item.package)
        price = None if item.price is None or package is None else item.price / package
        return Shelf(price, package, weight(item.on_hand))

    def recalled_notes(self) -> None:
        """Say which of the materials' figures in use are from memory."""
        for item in self.given.products:
            if item.material:
                material = find_material(item.material, shipped_materials())
                for what in recalled_in_use(item, material):
                    self.notes.append(
                        f"{item.name or material.name}: the {what} is from memory; take it from the label."
                    )

    # --- mixes ----------------------------------------------------------------------------------------------

    def mix_steps(
        self, products: Sequence[Product], dates: Mapping[str, date], start: date, block: str
    ) -> tuple[MixStep, ...]:
        """The mixes of a block by its stage dates; empty when one mix serves all season."""
        steps: list[MixStep] = []
        for index, item in enumerate(self.given.mixes):
            first = item.week
            if item.stage is not None:
                day = dates.get(item.stage)
                if day is None:
                    known = ", ".join(stage_words(name) for name in dates) or "none"
                    self._note(
                        f"the mix from {stage_words(item.stage)} on waits for a date of it under [stages], which "
                        f"has dates for {known}; until then the one before it feeds."
                    )
                    continue
                first = max(1, math.ceil((day - start).days / DAYS_PER_WEEK) + 1)
            assert first is not None
            if item.week is not None and item.week > self.given.plan.weeks:
                message = f"{item.week} is after the plan, which has {self.given.plan.weeks} weeks"
                self._fault(message, "mixes", index, "week")
            if steps and first < steps[-1].first_week:
                self._fault(
                    f"begins in week {first} on block {block}, before the mix above it, which begins in week "
                    f"{steps[-1].first_week}; mixes should stand in the order that they feed",
                    "mixes",
                    index,
                )
            turns = tuple(self._mix(products, index, shares, item.rates) for shares in item.turns)
            steps.append(MixStep(first, turns))
        if self.given.mixes and (not steps or steps[0].first_week != 1):
            self._fault("the first mix should begin with week = 1", "mixes")
        return tuple(steps)

    def _mix(
        self, products: Sequence[Product], index: int, shares: Mapping[str, float], rates: Mapping[str, float]
    ) -> Mix:
        known = {product.name: product for product in products}
        for name in (*shares, *rates):
            if name not in known:
                self._fault(f'there is no product "{name}"; there are: {", ".join(known)}', "mixes", index)
        for name, share in shares.items():
            if share > 0 and name in known and known[name].percent["n"] == 0:
                self._fault(
                    f"{name} holds no nitrogen and cannot have a share of it: set it in rates", "mixes", index
                )
        for name in rates:
            if name in known and known[name].percent["n"] > 0:
                self._fault(f"{name} holds nitrogen: give its share of it, not a rate", "mixes", index)
        beside = {name: self.units.rate_in(rate) for name, rate in rates.items()}
        return mix_of(products, dict(shares), beside)

    def check_mixes(self, mixes: Sequence[Mix]) -> None:
        """Say what would clash in a tank, and refuse what the grower put into one tank that must not meet."""
        for mix in mixes:
            for clash in clashes(mix):
                self._note(clash.text)
            if self.given.injection.tanks == 1 and refused(mix) is not None:
                if self.given.plan.injections_per_week < 2:
                    message = (
                        "one tank for products that must not meet needs two injections a week, or a second tank"
                    )
                    self._fault(message, "injection", "tanks")
                self._note(
                    "one tank feeds products that must not meet in turn: the mix sheet says what each injection "
                    "takes, where weekly tables divide the week evenly."
                )
            try:
                tanks_of(mix)
            except UserError as error:
                self._fault(str(error), "products")

    def _note(self, text: str) -> None:
        if text not in self.notes:
            self.notes.append(text)

    # --- injection ------------------------------------------------------------------------------------------

    def injecting(self, blocks: Sequence[str]) -> Injecting:
        """Tanks, injector, times and zones."""
        given, units = self.given.injection, self.units
        injector: Injector | None = None
        if given.pump_rate is not None:
            injector = Pump(units.volume_in(given.pump_rate))
        elif given.ratio is not None:
            injector = RatioInjector(given.ratio)
        days = tuple(sorted(_WEEKDAYS.index(day) for day in given.days))
        wanted = self.given.plan.injections_per_week
        if days and len(days) != wanted:
            self._fault(
                f"names {len(days)} days, the plan has {wanted} injections a week; the two should agree",
                "injection",
                "days",
            )
        timing = Timing(given.pressure_minutes, given.travel_minutes, given.inject_minutes, given.flush_minutes)
        return Injecting(self._tank(given), injector, timing, days, self._zones(blocks), given.tanks)

    def _tank(self, given: InjectionIn) -> Tank | None:
        if given.water_temperature is None:
            return None
        celsius, (low, high) = self.units.temperature_in(given.water_temperature), _WATER_C
        if not low <= celsius <= high:
            least, most = self.units.temperature_out(low), self.units.temperature_out(high)
            unit = self.units.temperature_unit
            self._fault(
                f"{given.water_temperature:g} {unit} should be from {least:g} to {most:g} {unit}",
                "injection",
                "water_temperature",
            )
        volume = None if given.tank is None else self.units.volume_in(given.tank)
        return Tank(celsius, given.solubility_share, volume)

    def _zones(self, blocks: Sequence[str]) -> dict[str, Zone]:
        zones, watered = {}, dict.fromkeys(blocks, 0.0)
        for key, item in self.given.zones.items():
            for block, share in item.waters.items():
                if block not in watered:
                    known = ", ".join(blocks)
                    self._fault(f'there is no block "{block}"; there are: {known}', "zones", key, "blocks")
                else:
                    watered[block] += share
            flow = None if item.flow is None else self.units.volume_in(item.flow)
            zones[key] = Zone(key, item.name or key, item.waters, flow, item.set_minutes, item.travel_minutes)
        for block, share in watered.items():
            if share > 0 and abs(share - 1.0) > SHARE_TOLERANCE:
                first = next(key for key, item in self.given.zones.items() if block in item.waters)
                message = f"the zones water {share:g} of block {block}; its parts should add up to 1"
                self._fault(message, "zones", first)
        return zones

    # --- credits --------------------------------------------------------------------------------------------

    def credit_lines(self) -> list[CreditLine]:
        """Each credit with its arithmetic, its source and its cautions."""
        found = []
        for index, item in enumerate(self.given.credits):
            try:
                found.append(self._credit(item))
            except UserError as error:
                for fault in error.faults:
                    self._fault(str(fault), "credits", index)
        return found

    def _credit(self, item: CreditIn) -> CreditLine:
        units, form = self.units, NitrateForm(item.form or NitrateForm.NO3_N)
        if item.kind is CreditKind.STATED:
            assert item.n is not None
            return stated(item.name, units.rate_in(item.n), item.source, item.evidence, units=units)
        if item.kind is CreditKind.WATER:
            assert item.ppm is not None and item.depth is not None
            line = water_nitrate(item.ppm, units.depth_in(item.depth), form=form, units=units)
        elif item.kind is CreditKind.COVER_CROP:
            assert item.n_percent is not None and item.dry_matter is not None
            line = cover_crop(item.n_percent, units.bulk_in(item.dry_matter), units=units)
        elif item.kind is CreditKind.COMPOST:
            assert item.n_percent is not None and item.spread is not None
            share = item.compost or item.first_year
            assert share is not None
            line = compost(item.n_percent, units.bulk_in(item.spread), share, units=units)
        else:
            assert item.ppm is not None
            depth = TOP_FOOT_IN if item.depth is None else units.depth_in(item.depth)
            line = soil_nitrate(item.ppm, depth, form=form, units=units)
        return replace(line, name=item.name)

    def lowered(self, rates_lb_ac: Sequence[float], lines: Sequence[CreditLine]) -> list[float]:
        """The planned weekly rates less the credits that reduce the plan."""
        spans = []
        for index, (item, line) in enumerate(zip(self.given.credits, lines, strict=True)):
            if item.reduces == "cap":
                continue
            first, last = item.weeks or (1, len(rates_lb_ac))
            if last > len(rates_lb_ac):
                self._fault(f"goes to week {last}, the plan has {len(rates_lb_ac)}", "credits", index, "weeks")
                continue
            spans.append((line.n_lb_ac, first, last))
        rates, left = spread_over_weeks(rates_lb_ac, spans)
        if left > 0:
            self._note(
                f"the credits that reduce the plan are {self.units.rate_out(left):.1f} {self.units.total_unit} "
                "more than the plan feeds in their weeks; nothing is fed there."
            )
        return rates

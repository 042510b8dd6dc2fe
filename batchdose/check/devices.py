"""Rules about the devices: a gun that was measured."""

from __future__ import annotations

from collections.abc import Iterator

from batchdose.amounts import amount_text
from batchdose.calculate.gun_check import verdict_text
from batchdose.calculate.gun_use import gun_at
from batchdose.check.context import Context
from batchdose.findings import Finding, Hold, Level
from batchdose.texts import say


def gun_off(context: Context) -> Iterator[Finding]:
    """A gun that was measured gives what it is set to, within its tolerance (5 % where the sheet states none).

    Passes: set to 5 mL, 10 shots gave 49 mL. Warned of: 45 mL, with the setting that gives the dose. Fails: no mark
    gives the dose within the band, or each animal has a dose of its own, which no one setting corrects; holds the
    medicine. Source of the 5 %: Kansas State study, as quoted in Beef Magazine. Matters because every animal of the
    mob would get the same wrong dose.
    """
    for index in context.used:
        medicine = context.medicines[index]
        gun = medicine.practice.gun
        found = None if gun is None else gun_at(gun.set_to, medicine)
        if gun is None or found is None:
            continue
        own = medicine.dose_by == "animal" and medicine.needs_weight
        unfit = found.setting is None or own
        fix = say("The job sheet has the corrected settings.")
        if unfit:
            fix = say("Use another gun, or have it mended.")
        if own:
            fix = say("Each animal has its own dose here. Use another gun, or Dose by: drafts or mob.")
        yield Finding(
            Level.ERROR if unfit else Level.WARNING, "gun-off", context.cell(medicine, "gun_gave"),
            say("{shots} x {set_to} gave {gave}", shots=gun.shots, set_to=amount_text(gun.set_to, medicine.unit),
                gave=amount_text(gun.gave, medicine.unit)),
            say("{medicine}: {verdict}", medicine=medicine.name, verdict=verdict_text(found, medicine.unit)), fix,
            Hold(say("the gun does not give what it is set to"), medicines=(index,)) if unfit else None,
        )  # fmt: skip

"""What the laptop page shows of one pack."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.usecases.overview import AlertRow, PackStay
from fadewatch_collector.usecases.page_views import Inspection, LaptopPage
from fadewatch_collector.web import happenings
from fadewatch_collector.web.charging import ChargingPanel, charging_panel
from fadewatch_collector.web.happenings import Happening
from fadewatch_collector.web.pack_plot import PackPlot, newest_wear, pack_plot
from fadewatch_collector.web.plot_marks import Mark
from fadewatch_common.policy import Policy


@dataclass(frozen=True, slots=True)
class PackPanel:
    """One pack with its plot.

    Attributes
    ----------
    wear
        By the newest assessment, or by the level before the first one.
    anchor
        By what a link leads to it; the newest stay of a pack has it.
    charging
        None of a pack that is no longer here.
    """

    stay: PackStay
    anchor: str | None
    wear: float | None
    band: Band
    shown: PackPlot
    charging: ChargingPanel | None


def panels_of(
    laptop: LaptopPage, today: date, asked: AlertRow | None = None
) -> list[PackPanel]:
    """Return a panel for each stay of a pack.

    Parameters
    ----------
    asked
        The alert whose evidence a person follows: its day is marked.
    """
    panels: list[PackPanel] = []
    for stay in laptop.view.packs:
        is_first = all(one.stay.pack_id != stay.pack_id for one in panels)
        anchor = f"pack-{stay.pack_id}" if is_first else None
        panels.append(_panel(laptop, stay, anchor, today, asked))
    return panels


def _panel(
    laptop: LaptopPage,
    stay: PackStay,
    anchor: str | None,
    today: date,
    asked: AlertRow | None,
) -> PackPanel:
    course, assessed = laptop.courses[stay.pack_id], stay.assessment
    happened: list[Happening] = [
        *happenings.assessed(assessed),
        *happenings.of_swaps(stay.pack_id, laptop.swaps),
        *happenings.of_inspections(_about(stay, laptop)),
    ]
    if asked is not None and asked.pack_id == stay.pack_id:
        happened.append(alert_opened(asked))
    newest = newest_wear(course.level)
    return PackPanel(
        stay=stay,
        anchor=anchor,
        wear=newest if assessed is None else assessed.wear,
        band=band_of(newest, laptop.policy) if assessed is None else assessed.band,
        shown=pack_plot(
            course,
            laptop.policy,
            happened,
            until=today if stay.until_at is None else stay.until_at.date(),
            is_in_use=stay.until_at is None,
        ),
        charging=charging_panel(laptop.charging[stay.pack_id])
        if stay.until_at is None
        else None,
    )


def _about(stay: PackStay, laptop: LaptopPage) -> Sequence[Inspection]:
    return [one for one in laptop.inspections if one.pack_id == stay.pack_id]


def alert_opened(alert: AlertRow) -> Happening:
    """Return the mark of the day on which an alert opened."""
    mark = Mark(alert.opened_at.date(), "alert opened", "alert")
    return Happening(mark, f"Alert {alert.id} opened.")


def band_of(wear: float | None, policy: Policy) -> Band:
    """Return the band of a wear before there is an assessment."""
    if wear is None:
        return "unknown"
    if wear >= policy.replace_wear:
        return "replace"
    return "plan" if wear >= policy.plan_wear else "sound"

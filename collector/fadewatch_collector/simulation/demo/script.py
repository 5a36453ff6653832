"""The script of the demo fleet: which laptop stands for which situation."""

from dataclasses import replace

from fadewatch_collector.simulation.demo.stories import (
    DAYS,
    Habit,
    LaptopStory,
    PackStory,
    Script,
    Situation,
    Stay,
)

# Laptop model and the pack model that belongs to it.
SEDGE_14, SEDGE_15 = ("Sedge 14", "KS-F57"), ("Sedge 15", "KS-H86")
FESCUE_13, FESCUE_14 = ("Fescue 13", "BW 2-38"), ("Fescue 14", "BW 3-48")
BURDOCK_14, BURDOCK_15 = ("Burdock 14", "Reed 505"), ("Burdock 15", "Reed 440")
TWIN = ("Sedge 14 Twin", "DM-24")

NEW_PACE = 0.0002  # [fraction of design a day] of a new pack

Model = tuple[str, str]
_ALL = (SEDGE_14, FESCUE_14, BURDOCK_15, SEDGE_15, FESCUE_13, BURDOCK_14)
_HABITS: tuple[Habit, ...] = ("daily", "now-and-then", "daily", "mains", "now-and-then")

# Sound packs that are charged full on mains: reported limit [percent], and how much
# warmer they are [kelvin]. The one at 80 % is charged past it.
_ON_MAINS: dict[int, tuple[int | None, float]] = {
    1: (None, 0.0),
    4: (100, 0.0),
    6: (None, 13.0),
    9: (100, 6.0),
    11: (None, 0.0),
    14: (80, 0.0),
    16: (None, 3.0),
}


def demo_script() -> Script:
    """Write down what happens to each laptop of the demo fleet."""
    script = Script()
    _sound(script)
    _worn(script)
    _fast(script)
    _dropped(script)
    _swapped(script)
    _doubtful(script)
    _odd(script)
    return script


def _sound(script: Script) -> None:
    for number in range(16):
        model, pack = _ALL[number % len(_ALL)]
        start, pace = 0.005 * (number % 7), 0.05 + 0.006 * (number % 11)
        story = PackStory(
            model=pack,
            wear=(start, start + 2 * pace),
            cycles=(10 + 13 * number, 190 + 31 * number),
            habit=_HABITS[number % len(_HABITS)],
            bounded=number % 4 == 0,
        )
        if number in _ON_MAINS:
            limit, warmer = _ON_MAINS[number]
            story = replace(story, on_mains=True, limit=limit, warmer=warmer)
        script.plain(Situation.SOUND, model, story, use=0.75 + 0.01 * number)
    for number, age in enumerate((25, 60, 110, 200)):
        model, pack = _ALL[number]
        start = -0.04 + 0.01 * number
        wear = (start, start + NEW_PACE * age)
        story = PackStory(model=pack, wear=wear, cycles=(0, age // 3), new=True)
        script.plain(Situation.NEW, model, story, since=age)


def _worn(script: Script) -> None:
    soon = ((0.10, 0.27), (0.12, 0.285), (0.08, 0.25))
    plan = ((0.14, 0.33), (0.12, 0.315), (0.18, 0.36), (0.20, 0.38), (0.15, 0.345))
    replace = ((0.22, 0.43), (0.25, 0.47), (0.30, 0.52))
    for situation, courses in (
        (Situation.SOON, soon),
        (Situation.PAST_PLAN, plan),
        (Situation.PAST_REPLACE, replace),
    ):
        for number, wear in enumerate(courses):
            model, pack = _ALL[(number * 2 + len(situation)) % len(_ALL)]
            story = PackStory(
                model=pack,
                wear=wear,
                cycles=(180 + 40 * number, 520 + 70 * number),
                habit="daily" if number % 2 == 0 else "now-and-then",
                bounded=number % 3 == 1,
            )
            script.plain(situation, model, story)
    for (model, pack), wear, knee in (
        (SEDGE_14, (0.06, 0.29), (130, 5.0)),
        (FESCUE_14, (0.05, 0.22), (90, 6.0)),
        (BURDOCK_15, (0.08, 0.36), (200, 4.0)),
    ):
        story = PackStory(model=pack, wear=wear, cycles=(90, 480), knee=knee)
        script.plain(Situation.KNEE, model, story)


def _fast(script: Script) -> None:
    """Let every pack of one type lose about twice as much as the others."""
    for number, worn in enumerate((0.27, 0.31, 0.29, 0.34, 0.30, 0.26)):
        start = 0.004 * number
        story = PackStory(
            model="BW 3-61",
            wear=(start, worn),
            cycles=(12 + 5 * number, 250 + 40 * number),
            habit="daily" if number % 2 == 0 else "now-and-then",
        )
        script.plain(Situation.FAST_TYPE, "Fescue 15", story)


def _dropped(script: Script) -> None:
    for situation, (model, pack), wear, drop, bounded in (
        (Situation.DROP, FESCUE_13, (0.06, 0.19), (48, 0.13), False),
        (Situation.DROP, BURDOCK_14, (0.04, 0.15), (150, 0.16), True),
        (Situation.FRESH_DROP, SEDGE_15, (0.05, 0.16), (6, 0.11), False),
        (Situation.BIG_DROP, FESCUE_14, (0.16, 0.34), (17, 0.28), False),
    ):
        story = PackStory(
            model=pack, wear=wear, cycles=(140, 460), drop=drop, bounded=bounded
        )
        script.plain(situation, model, story, use=0.97)


def _swapped(script: Script) -> None:
    for (model, pack), day in ((SEDGE_14, 64), (FESCUE_13, 210)):
        old = PackStory(model=pack, wear=(0.24, 0.45), cycles=(300, 640))
        new = PackStory(
            model=pack,
            wear=(-0.02, -0.02 + NEW_PACE * day),
            cycles=(0, day // 3),
            new=True,
        )
        _replaced(script, Situation.SWAPPED, model, (old, new), day)
    wrong = PackStory(model="KS-F42", wear=(0.01, 0.015), cycles=(0, 12), new=True)
    old = PackStory(model="KS-F57", wear=(0.22, 0.41), cycles=(260, 590))
    _replaced(script, Situation.WRONG_PACK, "Sedge 14", (old, wrong), 33)
    _moved(script)


def _replaced(
    script: Script,
    situation: Situation,
    model: str,
    packs: tuple[PackStory, PackStory],
    day: int,
) -> None:
    old, new = (script.pack(pack) for pack in packs)
    stays = (Stay(pack=old, last=day + 1), Stay(pack=new, first=day))
    script.laptop(LaptopStory(situation=situation, model=model, stays=stays, use=0.95))


def _moved(script: Script) -> None:
    """Let a pack go from a laptop that is taken out of use into another."""
    day = 120
    moved = script.pack(PackStory(model="BW 3-48", wear=(0.03, 0.14), cycles=(40, 260)))
    worn = script.pack(PackStory(model="BW 3-48", wear=(0.25, 0.42), cycles=(350, 700)))
    script.laptop(
        LaptopStory(
            situation=Situation.SILENT,
            model="Fescue 14",
            stays=(Stay(pack=moved, last=day + 2),),
            silent_for=day + 2,
        )
    )
    script.laptop(
        LaptopStory(
            situation=Situation.MOVED_PACK,
            model="Fescue 14",
            stays=(Stay(pack=worn, last=day + 1), Stay(pack=moved, first=day)),
            use=0.95,
        )
    )


def _doubtful(script: Script) -> None:
    usual = PackStory(model="", wear=(0.04, 0.17), cycles=(60, 330))
    for situation, (model, pack), story in (
        (Situation.FROZEN, BURDOCK_15, replace(usual, habit="frozen")),
        (Situation.NOISY, FESCUE_13, replace(usual, habit="noisy")),
        (Situation.MAINS, SEDGE_15, replace(usual, habit="mains", cycles=(8, 41))),
        (Situation.MAINS, SEDGE_14, replace(usual, habit="mains", cycles=(5, 30))),
        (Situation.DIP, BURDOCK_14, replace(usual, dip=(95, 38, 0.055))),
        (Situation.FALSE_CLIFF, FESCUE_14, replace(usual, cliff=(26, 3, 0.075))),
        (Situation.RELATIVE, BURDOCK_14, replace(usual, percent_only=True)),
        (Situation.WEAK_IDENTITY, FESCUE_13, replace(usual, serial="zero")),
        (Situation.WRONG_CLOCK, BURDOCK_15, usual),
    ):
        script.plain(situation, model, replace(story, model=pack), use=0.95)
    old = PackStory(
        model="Reed 440", wear=(0.26, 0.44), cycles=(310, 640), serial="missing"
    )
    new = PackStory(
        model="Reed 440", wear=(-0.01, 0.01), cycles=(0, 30), serial="missing", new=True
    )
    _replaced(script, Situation.WEAK_IDENTITY, "Burdock 15", (old, new), 88)


def _odd(script: Script) -> None:
    for wear in ((0.05, 0.21), (0.10, 0.34)):
        inner = PackStory(model="DM-24", wear=wear, cycles=(90, 300))
        bay = PackStory(
            model="DM-24", wear=(wear[0], wear[1] + 0.05), cycles=(120, 420)
        )
        stays = (
            Stay(pack=script.pack(inner), slot="BAT0"),
            Stay(pack=script.pack(bay), slot="BAT1"),
        )
        script.laptop(
            LaptopStory(
                situation=Situation.TWO_PACKS, model="Sedge 14 Twin", stays=stays
            )
        )
    script.laptop(
        LaptopStory(situation=Situation.NO_PACK, model="Fescue 14", stays=(), since=400)
    )
    for silent_for, (model, pack) in ((47, FESCUE_14), (19, SEDGE_14)):
        story = PackStory(model=pack, wear=(0.07, 0.24), cycles=(110, 390))
        script.plain(Situation.SILENT, model, story, silent_for=silent_for)
    for number, situation in enumerate(
        (Situation.MEMORY_CHANGED, Situation.DRIVE_CHANGED)
    ):
        model, pack = (SEDGE_14, BURDOCK_14)[number]
        stay = Stay(
            pack=script.pack(PackStory(model=pack, wear=(0.03, 0.15), cycles=(50, 280)))
        )
        script.laptop(
            LaptopStory(
                situation=situation, model=model, stays=(stay,), changed_on=24 + number
            )
        )
    for number in range(2):
        wear = (0.05, 0.18 - 0.07 * number)
        stay = Stay(
            pack=script.pack(PackStory(model="BW 2-38", wear=wear, cycles=(70, 300))),
            first=DAYS - 400 * number,
        )
        script.laptop(
            LaptopStory(
                situation=Situation.IDENTITY_CLASH,
                model="Fescue 13",
                stays=(stay,),
                since=DAYS - 400 * number,
                shares_serial=True,
            )
        )

"""The kinds of unit this workshop looks after."""

from random import Random

from tests.strangers.fault_histories.parts import Layout, Place

KINDS = ("reef", "reef pair", "planted", "sink", "sink pump", "bar", "workshop")
"""Short names, here and in `faults`."""

HAS_RESIN = ("reef", "reef pair", "workshop")
HAS_TANK = ("sink", "sink pump", "bar")
HAS_PUMP = ("sink pump", "bar")


def layout_of(kind: str, rng: Random) -> Layout:
    """A unit of one kind as its papers describe it."""
    membrane = {
        "reef": rng.choice(("M50", "M75", "M75", "M100")),
        "reef pair": rng.choice(("M75", "M100", "M150")),
        "planted": rng.choice(("M50", "M75", "M100")),
        "sink": rng.choice(("M50", "M50", "M75")),
        "sink pump": rng.choice(("M50", "M75", "M75")),
        "bar": rng.choice(("M150", "M200")),
        "workshop": rng.choice(("M100", "M150")),
    }[kind]
    train = [
        Place("sediment", rng.choice(("SP5", "SP5", "SP1"))),
        Place("carbon", rng.choice(("CB10", "CB10", "CG10"))),
        Place("membrane", membrane),
    ]
    if kind == "reef":
        train.append(Place("resin", rng.choice(("R07", "R13"))))
    elif kind == "reef pair":
        size = rng.choice(("R07", "R13"))
        train += [Place("resin", size, "lead"), Place("resin", size, "lag")]
    elif kind == "workshop":
        train.append(Place("resin", rng.choice(("R13", "R25"))))
    litres = {
        "reef": rng.uniform(60, 160),
        "reef pair": rng.uniform(100, 260),
        "planted": rng.uniform(60, 160),
        "sink": rng.uniform(35, 90),
        "sink pump": rng.uniform(40, 110),
        "bar": rng.uniform(350, 800),
        "workshop": rng.uniform(90, 240),
    }[kind]
    use = {"reef pair": "reef", "sink": "drinking", "sink pump": "drinking", "bar": "coffee", "workshop": "laboratory"}
    target = {"planted": 40.0, "sink": 75.0, "sink pump": 75.0, "bar": 90.0, "workshop": 2.0}
    in_tank = kind in HAS_TANK
    return Layout(
        use=use.get(kind, kind),
        kind="ro_di" if kind in HAS_RESIN else "ro",
        target_tds=target.get(kind, 3.0),
        weekly_litres=float(round(litres)),
        train=tuple(train),
        tank="pressurised" if in_tank else "open",
        tank_litres={"sink": 11.0, "sink pump": 11.0, "bar": 40.0}.get(kind, 60.0),
        precharge_bar=0.5 if in_tank else 0.0,
        booster=kind in HAS_PUMP,
        float_valve=not in_tank,
        shut_off=True,
        check_valve=True,
        capillary=rng.random() < 0.5,
        ratio=rng.choice((3.0, 3.5, 4.0)) if kind != "bar" else rng.choice((2.0, 2.5)),
    )

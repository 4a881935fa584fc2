"""The demo's households: invented people in invented circumstances.

A profile says what a household is and which lapses its story carries; the
simulator plays the months. No person, firm or address here exists.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

FIRST_MONTH = "2024-05"
LAST_MONTH = "2026-10"


@dataclass(frozen=True, slots=True)
class Person:
    """A member: given name, birth year, taxable income of 2025 in dollars."""

    name: str
    born: int
    income: int


@dataclass(frozen=True, slots=True)
class Lapses:
    """What goes wrong, by month ("2025-09"). Amounts in cents.

    `corrected` is a month of `personal` whose draw was first claimed for the
    portfolio and found to be personal much later.
    """

    missed: tuple[str, ...] = ()
    personal: tuple[tuple[str, int], ...] = ()
    unsupported: tuple[str, ...] = ()
    no_use: tuple[str, ...] = ()
    wrong_interest: tuple[tuple[str, int], ...] = ()
    broken_opening: tuple[tuple[str, int], ...] = ()
    missing: tuple[tuple[str, str], ...] = ()
    limit_frozen_from: str | None = None
    limit_cut: tuple[str, int] | None = None
    return_of_capital_spent: tuple[str, ...] = ()
    sale_spent: tuple[tuple[str, int], ...] = ()
    registered: tuple[str, ...] = ()
    idle: tuple[str, ...] = ()
    late: tuple[str, ...] = ()
    skipped_payment: tuple[str, ...] = ()
    restated: str | None = None
    corrected: str | None = None
    refund_kept: tuple[int, ...] = ()
    stale_plan: bool = False
    market_fall: tuple[str, ...] = ()
    interest_unpaid: tuple[str, ...] = ()
    prepaid: tuple[tuple[str, int], ...] = ()
    distributions_kept: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Profile:
    """One household. Dollars for amounts typed by hand, fractions as text for rates."""

    ref: str
    name: str
    province: str
    advisor: int
    people: tuple[Person, ...]
    value: int
    mortgage: int
    rate: str
    matures: date
    months: int = 300
    day: int = 1
    frequency: str = "monthly"
    renewed: tuple[date, date, str] | None = None
    reserve: int = 0
    opening_draw: int = 0
    opening_line: int = 0
    holding: int = 0
    marginal: str = "0.4341"
    distributions: str = "reinvest"
    spread: str = "0.0050"
    payer: str = "m1"
    static: tuple[str, int] | None = None
    """A variable rate with a payment that stays: spread to prime, payment in cents."""
    gains: tuple[tuple[str, str], ...] = ()
    """Gains the first person realised: day, dollars as text."""
    assessments: tuple[dict[str, object], ...] = ()
    disclosures: tuple[str, ...] = ()
    lapses: Lapses = field(default_factory=Lapses)


def _couple(
    one: str, born: int, income: int, two: str, born2: int, income2: int
) -> tuple[Person, ...]:
    return (Person(one, born, income), Person(two, born2, income2))


MATURES_LATER = date(2029, 5, 1)

PROFILES: tuple[Profile, ...] = (
    Profile(
        "HH-0101",
        "Alder Finch",
        "ON",
        0,
        _couple("Wren Alder", 1984, 128000, "Tomas Finch", 1982, 84000),
        865000,
        512000,
        "0.0489",
        MATURES_LATER,
        assessments=(
            {
                "on": "2024-04-20",
                "net_worth": "690000.00",
                "liquid_net_worth": "180000.00",
                "gross_income": "212000.00",
                "other_payments": "410.00",
                "knowledge": "medium",
                "risk_tolerance": "medium",
                "horizon_years": 20,
            },
        ),
        disclosures=(
            "2024-04-20",
            "2024-10-15",
            "2025-04-11",
            "2025-10-02",
            "2026-03-30",
            "2026-09-25",
        ),
    ),
    Profile(
        "HH-0102",
        "Marrow Lane",
        "BC",
        0,
        (Person("Isolde Marrow", 1979, 146000),),
        1120000,
        604000,
        "0.0512",
        MATURES_LATER,
        day=15,
        opening_draw=40000,
        marginal="0.4370",
        distributions="prepay",
        lapses=Lapses(distributions_kept=("2026-06",)),
    ),
    Profile(
        "HH-0103",
        "Okafor Tarn",
        "AB",
        0,
        _couple("Ngozi Tarn", 1988, 118000, "Bede Tarn", 1987, 91000),
        590000,
        371000,
        "0.0474",
        MATURES_LATER,
        marginal="0.3600",
        lapses=Lapses(missed=("2026-08", "2026-09", "2026-10")),
    ),
    Profile(
        "HH-0104",
        "Lavoie Cendre",
        "QC",
        0,
        _couple("Maude Cendre", 1983, 112000, "Rémi Lavoie", 1981, 97000),
        640000,
        388000,
        "0.0467",
        MATURES_LATER,
        reserve=25000,
        marginal="0.4746",
        lapses=Lapses(personal=(("2025-09", 1840000),)),
    ),
    Profile(
        "HH-0105",
        "Saltmarsh",
        "NS",
        0,
        (Person("Hollis Saltmarsh", 1976, 103000),),
        515000,
        298000,
        "0.0529",
        MATURES_LATER,
        day=20,
        marginal="0.4350",
        lapses=Lapses(unsupported=("2026-04", "2026-05"), no_use=("2026-07",)),
    ),
    Profile(
        "HH-0106",
        "Quist Havel",
        "ON",
        0,
        _couple("Petra Quist", 1985, 134000, "Ilan Havel", 1986, 76000),
        930000,
        560000,
        "0.0495",
        MATURES_LATER,
        assessments=(
            {
                "on": "2024-04-28",
                "net_worth": "240000.00",
                "liquid_net_worth": "23500.00",
                "knowledge": "medium",
                "risk_tolerance": "high",
                "horizon_years": 15,
            },
        ),
        opening_line=22000,
        reserve=15000,
        lapses=Lapses(personal=(("2025-03", 615000),), corrected="2025-03"),
    ),
    Profile(
        "HH-0107",
        "Brandt Osprey",
        "MB",
        0,
        (Person("Lena Osprey", 1990, 99000),),
        455000,
        287000,
        "0.0505",
        MATURES_LATER,
        marginal="0.4325",
        lapses=Lapses(wrong_interest=(("2026-06", 4375),)),
    ),
    Profile(
        "HH-0108",
        "Dunmore Pike",
        "SK",
        0,
        _couple("Asa Pike", 1981, 121000, "June Dunmore", 1983, 64000),
        480000,
        300000,
        "0.0499",
        MATURES_LATER,
        day=10,
        marginal="0.3850",
        lapses=Lapses(broken_opening=(("2026-07", 31250),)),
    ),
    Profile(
        "HH-0109",
        "Fundy Hale",
        "NB",
        0,
        (Person("Corin Hale", 1987, 94000),),
        410000,
        252000,
        "0.0518",
        MATURES_LATER,
        marginal="0.4100",
        lapses=Lapses(missing=(("line", "2026-10"), ("mtg", "2026-10"))),
    ),
    Profile(
        "HH-0110",
        "Ashgrove",
        "ON",
        1,
        _couple("Mina Ashgrove", 1978, 158000, "Paul Ashgrove", 1977, 102000),
        1040000,
        598000,
        "0.0399",
        date(2026, 12, 15),
        day=15,
        disclosures=("2025-11-14", "2026-03-20"),
        marginal="0.4497",
    ),
    Profile(
        "HH-0111",
        "Kestrel Yu",
        "BC",
        1,
        (Person("Dana Kestrel", 1982, 137000),),
        1210000,
        655000,
        "0.0409",
        date(2026, 9, 1),
        marginal="0.4370",
    ),
    Profile(
        "HH-0112",
        "Rustico Bell",
        "PE",
        1,
        _couple("Ada Bell", 1986, 88000, "Noel Bell", 1984, 83000),
        430000,
        268000,
        "0.0509",
        MATURES_LATER,
        marginal="0.4160",
        lapses=Lapses(limit_frozen_from="2026-07"),
    ),
    Profile(
        "HH-0113",
        "Gannet Cove",
        "NL",
        1,
        (Person("Shea Gannet", 1980, 109000),),
        395000,
        244000,
        "0.0521",
        MATURES_LATER,
        marginal="0.4300",
        lapses=Lapses(limit_cut=("2026-09", 300000)),
    ),
    Profile(
        "HH-0114",
        "Thistle Romero",
        "ON",
        1,
        _couple("Inez Romero", 1989, 126000, "Cal Thistle", 1988, 79000),
        790000,
        471000,
        "0.0478",
        MATURES_LATER,
        lapses=Lapses(stale_plan=True),
    ),
    Profile(
        "HH-0115",
        "Bowline",
        "AB",
        1,
        (Person("Greer Bowline", 1975, 171000),),
        720000,
        401000,
        "0.0484",
        MATURES_LATER,
        day=5,
        marginal="0.3800",
        lapses=Lapses(restated="2026-03"),
    ),
    Profile(
        "HH-0116",
        "Calloway Reed",
        "ON",
        1,
        _couple("Signe Reed", 1981, 131000, "Otis Calloway", 1980, 88000),
        880000,
        499000,
        "0.0299",
        date(2025, 6, 1),
        renewed=(date(2025, 6, 1), date(2030, 6, 1), "0.0424"),
        payer="m2",
    ),
    Profile(
        "HH-0117",
        "Tremblay Noue",
        "QC",
        1,
        (Person("Colette Noue", 1984, 119000),),
        575000,
        342000,
        "0.0471",
        MATURES_LATER,
        day=12,
        marginal="0.4746",
    ),
    Profile(
        "HH-0118",
        "Inverlea",
        "NS",
        2,
        _couple("Gwen Inverlea", 1983, 105000, "Hal Inverlea", 1982, 71000),
        500000,
        301000,
        "0.0515",
        MATURES_LATER,
        marginal="0.4350",
        lapses=Lapses(return_of_capital_spent=("2026-03", "2026-06")),
    ),
    Profile(
        "HH-0119",
        "Wolseley Park",
        "MB",
        2,
        (Person("Anton Park", 1979, 116000),),
        520000,
        310000,
        "0.0502",
        MATURES_LATER,
        opening_draw=28000,
        marginal="0.4325",
        lapses=Lapses(sale_spent=(("2026-08", 900000),)),
    ),
    Profile(
        "HH-0120",
        "Cypress Dene",
        "BC",
        2,
        _couple("Mei Dene", 1991, 98000, "Rory Dene", 1990, 94000),
        980000,
        588000,
        "0.0497",
        MATURES_LATER,
        marginal="0.3820",
        lapses=Lapses(registered=("2026-02",)),
    ),
    Profile(
        "HH-0121",
        "Hartwell Sky",
        "SK",
        2,
        (Person("Vera Sky", 1985, 111000),),
        465000,
        277000,
        "0.0500",
        MATURES_LATER,
        marginal="0.3850",
        lapses=Lapses(idle=("2026-09",), late=("2026-10",)),
    ),
    Profile(
        "HH-0122",
        "Klondike Moss",
        "YT",
        2,
        _couple("Ira Moss", 1977, 139000, "Fay Moss", 1979, 58000),
        610000,
        365000,
        "0.0493",
        MATURES_LATER,
        marginal="0.3690",
        gains=(("2026-08-17", "930000.00"),),
        lapses=Lapses(refund_kept=(2026,)),
    ),
    Profile(
        "HH-0123",
        "Pembroke Vale",
        "ON",
        2,
        (Person("Lars Vale", 1986, 123000),),
        745000,
        446000,
        "0.0486",
        MATURES_LATER,
        frequency="accelerated-biweekly",
        day=3,
        lapses=Lapses(skipped_payment=("2026-09",)),
    ),
    Profile(
        "HH-0124",
        "Stonebridge",
        "ON",
        2,
        _couple("Orla Stone", 1972, 182000, "Ken Bridge", 1970, 95000),
        1180000,
        702000,
        "0.0469",
        MATURES_LATER,
        holding=60000,
        marginal="0.4497",
        lapses=Lapses(market_fall=("2026-08", "2026-09", "2026-10")),
    ),
    Profile(
        "HH-0125",
        "Limestone Ferry",
        "ON",
        2,
        (Person("Bram Limestone", 1988, 117000),),
        500000,
        404000,
        "",
        MATURES_LATER,
        months=360,
        static=("-0.0090", 229000),
        opening_line=6000,
        lapses=Lapses(
            interest_unpaid=("2026-08", "2026-09", "2026-10"), prepaid=(("2025-10", 6250000),)
        ),
    ),
)

# The second firm exists so that tests can look for it where it must never show.
OTHER_PROFILES: tuple[Profile, ...] = (
    Profile(
        "QX-9001",
        "Zephyrine Quillmark",
        "ON",
        0,
        (Person("Zephyrine Quillmark", 1980, 140000),),
        777777,
        444444,
        "0.0481",
        MATURES_LATER,
    ),
    Profile(
        "QX-9002",
        "Umberlode Vantz",
        "BC",
        0,
        (Person("Umberlode Vantz", 1983, 127000),),
        888888,
        433333,
        "0.0481",
        MATURES_LATER,
        lapses=Lapses(missed=("2026-09", "2026-10")),
    ),
    Profile(
        "QX-9003",
        "Ottoline Brisk-Fjord",
        "QC",
        0,
        (Person("Ottoline Brisk-Fjord", 1985, 119000),),
        666666,
        355555,
        "0.0481",
        MATURES_LATER,
    ),
)

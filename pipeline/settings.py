"""The programme's settings: targets, thresholds and local ceilings, from one TOML file.

Every setting has a default; a file names only what differs. An unknown name or an
impossible value is an error, so that a misspelt threshold cannot pass unseen.
"""

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from math import inf
from pathlib import Path
from typing import Any

from pipeline.errors import SettingsError
from pipeline.resources import resource

SETTINGS_FILE = "dwell.toml"

# Counts of children below this are withheld from a release. CMS cell-size
# policy (ResDAC, version of 26 January 2024): no cell of 1 to 10.
SMALL_CELL = 11


# How soon a symptom of possible systemic toxicity is to be answered, soonest first.
TIERS = ("emergency", "same_hour", "next_call")

# Tier of each symptom unless set otherwise (common practice, no source).
SYMPTOM_TIERS: Mapping[str, str] = dict.fromkeys(
    ("breathing_difficulty", "unresponsive", "seizure"), "emergency"
) | dict.fromkeys(
    ("drowsy", "twitching", "perioral_numbness", "metallic_taste", "tinnitus", "dizziness",
     "visual_change", "slurred_speech", "agitation", "palpitations"),
    "same_hour",
)  # fmt: skip
AGES = range(22)  # whole years that the record layout holds
DRUGS = ("ropivacaine", "bupivacaine", "levobupivacaine", "lidocaine")  # as in the layout


@dataclass(frozen=True)
class DoseCeiling:
    """The highest dose of one drug for some ages.

    For counting, not for dosing: a local clinician sets it.

    Attributes
    ----------
    drug : str
        Code of the local anaesthetic.
    from_age_years, below_age_years : int
        The ceiling holds for children of at least the one and younger than the other.
    mg_kg_h : float
        Milligrams of local anaesthetic per kilogram and hour.
    """

    drug: str
    from_age_years: int
    below_age_years: int
    mg_kg_h: float

    def __str__(self) -> str:
        """Say the ceiling as it is printed beside the figure that it makes."""
        ages = f"from {self.from_age_years} and below {self.below_age_years} years"
        return f"{self.drug} {self.mg_kg_h:g} mg/kg/h {ages}"


@dataclass(frozen=True)
class Settings:
    """What a programme may set.

    Attributes
    ----------
    network : str
        Name that the report prints.
    small_cell : int
        Counts of children from 1 to one below this are withheld from a release, which
        takes 5 at least.
    k_anonymity : int
        Smallest group of like records that an extract should hold.
    min_ascertainment : float
        Share of episodes with a known numerator below which a row is marked.
    removal_by_hour : int
        Clock hour by which a planned removal should be done, for `removed_by_day`.
    answer_minutes : int
        Minutes within which a family's call should be answered, for `answered_in_time`.
    symptom_tiers : mapping of str to str
        Tier by symptom, one of `TIERS`; a file names only those that differ.
    dose_ceilings : tuple of DoseCeiling
        None unless set; those of a drug must cover every age once.
    targets : mapping of str to float
        Target by measure, in the measure's unit.
    in_control_run_length : float
        Months between false alarms, on each side, of a safety measure at one site.
    baseline_months : int
        Complete months that set a chart's centre line and limits.
    baseline_events : int
        Events that those months must hold; the baseline is longer where they do not.
    smallest_ratio : float
        Smallest ratio between groups that is worth a call.
    """

    network: str = "The network"
    small_cell: int = SMALL_CELL
    k_anonymity: int = 5
    min_ascertainment: float = 0.8
    removal_by_hour: int = 14
    answer_minutes: int = 15
    symptom_tiers: Mapping[str, str] = field(default_factory=lambda: dict(SYMPTOM_TIERS))
    dose_ceilings: tuple[DoseCeiling, ...] = ()
    targets: Mapping[str, float] = field(default_factory=dict)
    in_control_run_length: float = 120.0
    baseline_months: int = 24
    baseline_events: int = 20
    smallest_ratio: float = 1.25

    def __post_init__(self) -> None:
        """Refuse impossible values."""
        checks = {
            "small_cell": self.small_cell >= 0,
            "k_anonymity": self.k_anonymity >= 1,
            "min_ascertainment": 0 <= self.min_ascertainment <= 1,
            "removal_by_hour": 7 <= self.removal_by_hour <= 23,
            "answer_minutes": self.answer_minutes >= 1,
            "symptom_tiers": set(self.symptom_tiers) == set(SYMPTOM_TIERS)
            and set(self.symptom_tiers.values()) <= set(TIERS),
            "targets": all(0 <= target < inf for target in self.targets.values()),
            "in_control_run_length": 1 < self.in_control_run_length < inf,
            "baseline_months": self.baseline_months >= 1,
            "baseline_events": self.baseline_events >= 0,
            "smallest_ratio": 1 <= self.smallest_ratio < inf,
        }
        for name, holds in checks.items():
            if not holds:
                raise SettingsError(f"Setting {name} is out of range.")
        _check_ceilings(self.dose_ceilings)
        _check_targets(self.targets)


def _check_ceilings(ceilings: tuple[DoseCeiling, ...]) -> None:
    """Refuse ceilings of a drug that leave an age out, or give it two."""
    for drug in sorted({ceiling.drug for ceiling in ceilings}):
        if drug not in DRUGS:
            raise SettingsError("Setting dose_ceilings names a drug that is not in the layout.")
        own = [ceiling for ceiling in ceilings if ceiling.drug == drug]
        if any(ceiling.mg_kg_h <= 0 for ceiling in own):
            raise SettingsError(f"Setting dose_ceilings: a ceiling of {drug} is not above zero.")
        covered = [age for c in own for age in range(c.from_age_years, c.below_age_years)]
        if sorted(covered) != list(AGES):
            raise SettingsError(
                f"Setting dose_ceilings: those of {drug} leave an age out, or give it twice;"
                f" ages run from 0 to {AGES[-1]} years."
            )


def _check_targets(targets: Mapping[str, float]) -> None:
    """Refuse the target of a measure that there is not."""
    known = sorted(path.stem for path in resource("sql", "measures").glob("*.sql"))
    for name in targets:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            raise SettingsError(
                f"Setting targets: there is no measure {name}.",
                try_next=near[0] if near else "dwell measures, for the list",
            )


def load_settings(path: Path | None = None) -> Settings:
    """Read the settings file.

    Parameters
    ----------
    path : Path, optional
        The file; where none is named, `dwell.toml` in the working folder if it
        is there, else the defaults.

    Raises
    ------
    SettingsError
        The file is missing or no TOML, or a name or value in it is wrong.
    """
    if path is None:
        path = Path(SETTINGS_FILE)
        if not path.exists():
            return Settings()
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise SettingsError(f"Cannot read the settings file {path}.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path} is not TOML: {error}.") from error
    return _from_table(table, path)


def _from_table(table: dict[str, Any], path: Path) -> Settings:
    known = {f.name: f for f in fields(Settings)}
    for name in table:
        if name not in known:
            raise SettingsError(
                f"{path}: unknown setting {name}.", try_next=f"one of {', '.join(known)}"
            )
    values = dict(table)
    try:
        if "dose_ceilings" in values:
            values["dose_ceilings"] = tuple(DoseCeiling(**row) for row in values["dose_ceilings"])
        if "symptom_tiers" in values:
            values["symptom_tiers"] = {**SYMPTOM_TIERS, **values["symptom_tiers"]}
        for name, value in values.items():
            _check_type(name, value)
        return Settings(**values)
    except TypeError as error:
        raise SettingsError(f"{path}: a setting has a value of the wrong type.") from error
    except SettingsError as error:
        raise SettingsError(f"{path}: {error.message}", try_next=error.try_next) from error


def _check_type(name: str, value: object) -> None:
    default = getattr(Settings(), name)
    expected: tuple[type, ...] = (type(default),)
    if isinstance(default, float):
        expected = (int, float)
    elif isinstance(default, Mapping):
        expected = (dict,)
    numbers_ok = name != "targets" or all(
        type(target) in {int, float}  # a yes or no is an int as well
        for target in dict(value).values()  # type: ignore[call-overload]
    )
    if isinstance(value, bool) or not isinstance(value, expected) or not numbers_ok:
        raise SettingsError(f"setting {name} has a value of the wrong type.")

"""The programme's settings: targets, thresholds and local ceilings, from one TOML file.

Every setting has a default; a file names only what differs. An unknown name or an
impossible value is an error, so that a misspelt threshold cannot pass unseen.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from pipeline.errors import SettingsError

SETTINGS_FILE = "dwell.toml"

# Counts of children below this are withheld from a release. CMS cell-size
# policy (ResDAC, version of 26 January 2024): no cell of 1 to 10.
SMALL_CELL = 11


@dataclass(frozen=True)
class DoseCeiling:
    """The highest infusion dose up to an age.

    Attributes
    ----------
    below_age_years : int
        The ceiling holds for children younger than this.
    mg_kg_h : float
        Milligrams of local anaesthetic per kilogram and hour.
    """

    below_age_years: int
    mg_kg_h: float


# Workshop handout of a paediatric regional anaesthesia course (Suresh), secondary
# source: bupivacaine infusion not above 0.2 mg/kg/h in neonates, 0.4 in older
# children. It gives no age at which one becomes the other; whole years only allow
# the first birthday. For counting, not for dosing: a local clinician confirms them.
DOSE_CEILINGS = (DoseCeiling(1, 0.2), DoseCeiling(22, 0.4))


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
    evening_meal_hour : int
        Clock hour of the evening meal, for `removed_by_day`.
    dose_ceilings : tuple of DoseCeiling
        Ordered by age; the last must cover every age.
    targets : mapping of str to float
        Target by measure, in the measure's unit.
    in_control_run_length : float
        Months between false alarms that the limit of a CUSUM is set for.
    """

    network: str = "The network"
    small_cell: int = SMALL_CELL
    k_anonymity: int = 5
    min_ascertainment: float = 0.8
    evening_meal_hour: int = 18
    dose_ceilings: tuple[DoseCeiling, ...] = DOSE_CEILINGS
    targets: Mapping[str, float] = field(default_factory=dict)
    in_control_run_length: float = 120.0

    def __post_init__(self) -> None:
        """Refuse impossible values."""
        checks = {
            "small_cell": self.small_cell >= 0,
            "k_anonymity": self.k_anonymity >= 1,
            "min_ascertainment": 0 <= self.min_ascertainment <= 1,
            "evening_meal_hour": 4 <= self.evening_meal_hour <= 23,
            "in_control_run_length": self.in_control_run_length > 1,
            "dose_ceilings": bool(self.dose_ceilings)
            and all(ceiling.mg_kg_h > 0 for ceiling in self.dose_ceilings)
            and all(
                a.below_age_years < b.below_age_years
                for a, b in zip(self.dose_ceilings, self.dose_ceilings[1:], strict=False)
            ),
        }
        for name, holds in checks.items():
            if not holds:
                raise SettingsError(f"Setting {name} is out of range.")


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
        for name, value in values.items():
            _check_type(name, value)
        return Settings(**values)
    except TypeError as error:
        raise SettingsError(f"{path}: a setting has a value of the wrong type.") from error
    except SettingsError as error:
        raise SettingsError(f"{path}: {error.message}") from error


def _check_type(name: str, value: object) -> None:
    default = getattr(Settings(), name)
    expected: tuple[type, ...] = (int, float) if isinstance(default, float) else (type(default),)
    numbers_ok = name != "targets" or all(
        isinstance(target, int | float)
        for target in dict(value).values()  # type: ignore[call-overload]
    )
    if isinstance(value, bool) or not isinstance(value, expected) or not numbers_ok:
        raise SettingsError(f"setting {name} has a value of the wrong type.")

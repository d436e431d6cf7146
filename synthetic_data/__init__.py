"""The invented network: its scenario and the generator of its records."""

from synthetic_data.folder import Written, write_folder

__all__ = ["Written", "write_folder"]

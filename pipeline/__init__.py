"""Quality improvement for children sent home with a peripheral nerve catheter.

Records go in one direction: records, store, measures, analysis, disclosure,
figures, report. See DEVELOPERS.md for where things live.
"""

__version__ = "0.1.0"

"""The line that goes with true counts: for whose eyes they are."""

CONFIDENTIAL = (
    "Confidential: true counts, for the service's own use; dwell release makes the copy to pass on."
)

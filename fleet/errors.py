"""The one tree of errors this project raises on purpose.

FleetError
├── SourceError    a log can't be read as it stands (missing, another kind, a needed column gone)
├── SchemaError    a name asked for isn't a known table or column
├── StoreError     the store can't be opened or written
├── AnalysisError  a question about the past was asked with unusable settings
└── PlanError      a question about next summer was asked with unusable settings

"It can't be estimated from this log" is not an error: it is a blank in the answer, with its
reason in the column ``note``.
"""


class FleetError(Exception):
    """A failure with one clear sentence for the person at the keyboard (exit code 1)."""


class SourceError(FleetError):
    """The log can't be read as it stands; the store is untouched."""


class SchemaError(FleetError):
    """A table or column was asked for that doesn't exist."""


class StoreError(FleetError):
    """The store folder can't be read or written, or holds nothing yet."""


class AnalysisError(FleetError):
    """A question about the past was asked with settings that make no sense."""


class PlanError(FleetError):
    """A question about next summer was asked with settings that make no sense."""

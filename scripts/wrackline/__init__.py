"""Raw survey files of every season in, one checkable record of a drowned settlement out."""

__version__ = "0.1.0"

"""How tests of registers see that a site's config is refused, and for what."""

import pytest

from wrackline.errors import ConfigError


def refused(site, *rows, **keys):
    """Return the faults with which the config that `site` writes and loads is refused."""
    with pytest.raises(ConfigError, match="found") as refusal:
        site(*rows, **keys)
    return refusal.value.faults


def kinds(faults):
    """Return kind and row of each fault."""
    return [(fault.kind, fault.row) for fault in faults]

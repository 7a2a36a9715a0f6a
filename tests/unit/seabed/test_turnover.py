"""What came and what went, with the noise's share taken out."""

import numpy as np
import pytest

from wrackline.seabed.turnover import Turnover


def sizes(true, noise, seed=3):
    """Return the mean size freed of noise, and as seen."""
    rng = np.random.default_rng(seed)
    seen = Turnover()
    noise = np.broadcast_to(noise, true.shape)
    for part in np.array_split(np.arange(len(true)), 3):
        seen.add(true[part] + rng.normal(0, noise[part]), noise[part])
    return seen.mean_size(), seen.raw_size()


def test_noise_alone_is_nearly_nothing():
    """Of √(2 / π) σ, what pure noise shows, less than a fifth is left."""
    freed, raw = sizes(np.zeros(20_000), 0.06)
    assert raw == pytest.approx(0.06 * np.sqrt(2 / np.pi), rel=0.02)
    assert freed < raw / 5


@pytest.mark.parametrize("noise", [0.03, 0.06, 0.1])
def test_domes_and_hollows_keep_their_volume(noise):
    """Round domes and hollows on still ground: what noise adds falls by five sixths or more."""
    y, x = np.mgrid[-100:100, -100:100]
    true = 0.6 * np.exp(-((x - 40) ** 2 + y**2) / 300) - 0.4 * np.exp(-((x + 40) ** 2 + y**2) / 300)
    freed, raw = sizes(true.ravel(), noise)
    wanted = np.abs(true).mean()
    assert 0.95 * wanted < freed < wanted + (raw - wanted) / 6


def test_a_uniform_rise_stays_whole():
    """Ground that rose by 1.5 m everywhere: as seen, within 5 %; one peak at 0 is assumed."""
    freed, _ = sizes(np.full(5000, 1.5), 0.2)
    assert freed == pytest.approx(1.5, rel=0.05)


def test_noise_of_many_sizes_and_no_cells():
    """Each cell's own noise counts; nothing is nothing."""
    rng = np.random.default_rng(1)
    freed, raw = sizes(np.zeros(20_000), rng.uniform(0.01, 0.3, 20_000))
    assert freed < raw / 5
    assert Turnover().mean_size() == 0.0

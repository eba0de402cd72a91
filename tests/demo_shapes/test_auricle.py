"""The ear's relief: its parts stand where anatomy has them."""

import numpy as np

from demo_shapes.auricle import auricle, helix_line
from demo_shapes.landmarks import hits


def front_height(x, y):
    """Return how far the ear's front stands out at a place (x to the front, y up)."""
    return float(hits(auricle, [(x, y, 40.0)], (0.0, 0.0, -1.0), length_mm=45.0)[0, 2])


def test_a_section_runs_over_rim_groove_fold_and_bowl():
    # From the back to the front, halfway up: helix, scapha, antihelix, bowl of the concha, tragus side.
    helix, scapha, antihelix, bowl = (front_height(x, 6.0) for x in (-29.0, -24.5, -20.5, -10.5))
    assert helix > scapha + 4.0
    assert antihelix > scapha + 2.0
    assert antihelix > bowl + 9.0


def test_the_antihelix_forks_about_the_triangular_fossa():
    upper, fossa, lower = front_height(-18.0, 20.0), front_height(-10.0, 21.7), front_height(-9.0, 16.9)
    assert upper > fossa + 2.0
    assert lower > fossa + 1.0


def test_crus_of_the_helix_parts_the_concha():
    cymba, crus, cavum = front_height(-8.0, 11.6), front_height(-5.0, 6.4), front_height(-7.5, -4.0)
    assert crus > cymba + 0.5
    assert crus > cavum + 2.0


def test_tragus_and_antitragus_stand_about_the_notch():
    tragus, antitragus, notch = (
        front_height(-1.0, -3.5),
        front_height(-14.0, -10.8),
        front_height(-6.5, -10.5),
    )
    assert tragus > notch + 0.5
    assert antitragus > notch + 4.0


def test_lobule_hangs_below_the_helix_and_is_soft():
    lobule = np.array([-10.0, -22.0, 5.5])
    thickness = (auricle(lobule + np.array([0, 0, 1.0]) * np.linspace(-8, 8, 321)[:, None]) < 0).sum() * 0.05
    assert 3.0 < thickness < 9.0


def test_helix_line_runs_from_the_concha_over_the_top_to_the_lobule():
    line = helix_line()
    top = int(np.argmax(line[:, 1]))
    assert 0.2 * len(line) < top < 0.7 * len(line)
    assert np.hypot(*(line[0, :2] - [-15.0, 3.3])) < 1.0
    assert line[-1, 1] < -18.0
    assert (auricle(line[20:-20]) < 0).all()


def test_field_is_no_faster_than_its_slack_allows():
    points = np.random.default_rng(4).uniform([-40, -34, -6], [12, 42, 26], (20_000, 3))
    step = np.random.default_rng(5).normal(size=points.shape)
    step *= 0.2 / np.linalg.norm(step, axis=1)[:, None]
    near = np.abs(auricle(points)) < 1.5
    rate = np.abs(auricle(points + step) - auricle(points)) / 0.2
    assert near.sum() > 1500
    assert np.percentile(rate[near], 99.5) < 1.8

"""Local grids and old plans: published worked examples of the transformations."""

import numpy as np
from numpy.testing import assert_allclose

from wrackline.fit.similarity import fit_affine, fit_similarity


def test_affine_of_fiducials_weighted():
    """Four fiducial marks, weighted, give the parameters and points of the handbook.

    Ghilani, Adjustment Computations, Example 18.2 (values from memory; they reproduce every
    printed digit).
    """
    comparator = np.array([[0.764, 5.960], [5.062, 10.541], [9.663, 6.243], [5.350, 1.654]])
    calibrated = np.array([[-113.0, 0.003], [0.001, 112.993], [112.998, 0.003], [0.001, -112.999]])
    sd = np.array([[0.104, 0.112], [0.096, 0.120], [0.112, 0.088], [0.096, 0.104]])
    fit = fit_affine(comparator, calibrated, sd)
    assert_allclose(fit.matrix, [[25.37152, 0.82220], [-0.80994, 25.40166]], atol=6e-6)
    assert_allclose(fit.shift, [-137.183, -150.723], atol=6e-4)
    unknown = fit.apply(np.array([[1.746, 9.354], [5.329, 9.463]]))
    assert_allclose(unknown, [[-85.193, 85.470], [5.803, 85.337]], atol=6e-4)


def test_affine_of_a_survey_in_feet():
    """The parameters that turn one old grid in feet into metres are found again from its points.

    IOGP Guidance Note 7-2, Affine parametric transformation (method 9624), operation 10087:
    (553900, 482500) ft becomes (251190.497, 175146.067) m.
    """
    a = np.array([82357.457, 0.304794369, 0.000015417425])
    b = np.array([28091.324, -0.000015417425, 0.304794369])
    feet = np.array([[5e5, 4.5e5], [6e5, 4.5e5], [6e5, 5e5], [5e5, 5e5]])
    metres = np.column_stack([a[0] + feet @ a[1:], b[0] + feet @ b[1:]])
    fit = fit_affine(feet, metres)
    place = fit.apply(np.array([[553900.0, 482500.0]]))
    assert_allclose(place, [[251190.497, 175146.067]], atol=1e-3)


def test_similarity_between_two_frames():
    """A similarity fitted to two of the published points puts the other two right.

    IOGP Guidance Note 7-2, Similarity transformation (method 9621), operation 5166, with the test
    points of the mapping agency that uses it; rounded parameters leave 3 mm.
    """
    source = np.array(
        [[300000.0, 4500000], [315000, 4740000], [520000, 4680000], [420000, 4600000]]
    )
    target = np.array(
        [
            [299905.060, 4499796.515],
            [314906.904, 4739796.774],
            [519906.767, 4679795.125],
            [419906.005, 4599795.760],
        ]
    )
    fit = fit_similarity(source[:2], target[:2])
    assert_allclose(fit.apply(source[2:]), target[2:], atol=3e-3)
    assert_allclose(fit.scale, 1.00000155, atol=2e-8)

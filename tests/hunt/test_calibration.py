"""Is a probability of 70 % right in 70 of 100? Simulated games with hidden faults, tolerances and erring meters.

The ladder is solved in the tests themselves; the hidden units are drawn afresh, never from the hunt's own samples.
"""

from itertools import pairwise

import numpy as np
import pytest
from hunt.games import Unit, random_evidence
from hunt.ladder import Ladder

from dustcap.hunt.evidence import Evidence
from dustcap.hunt.fold import starting_prior
from dustcap.hunt.posterior import posterior

GAMES = 600
EDGES = (0.0, 0.01, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9, 0.97, 1.01)


@pytest.fixture(scope="module")
def games():
    """Probabilities given to every suspect, and which one was hidden, shapes (games, suspects) and (games,)."""
    table, rng = Ladder(particles=64, unexplained=0.0), np.random.default_rng(5)
    prior = starting_prior(table.prior, Evidence())[:-1]
    said, truth = [], []
    for _ in range(GAMES):
        hidden = int(rng.choice(prior.size, p=prior))
        unit = Unit(table.suspects[hidden], rng)
        said.append(posterior(table, Evidence(random_evidence(unit, table, rng, 4))).probability)
        truth.append(hidden)
    return np.array(said), np.array(truth)


def test_probabilities_come_true_as_often_as_they_say(games):
    """In each band of stated probability the hits lie within the binomial error (three sigma and one hit)."""
    said, truth = games
    hits = np.arange(said.shape[1])[None, :] == truth[:, None]
    for low, high in pairwise(EDGES):
        band = (said >= low) & (said < high)
        expected = said[band].sum()
        error = np.sqrt(np.sum(said[band] * (1 - said[band])))
        assert abs(hits[band].sum() - expected) <= 3 * error + 1, f"{low} to {high}"


def test_the_likeliest_suspect_is_right_as_often_as_it_says(games):
    """Over all games the leading suspect is right in its stated share, within three sigma."""
    said, truth = games
    top = said.max(axis=1)
    right = said.argmax(axis=1) == truth

    assert abs(right.sum() - top.sum()) <= 3 * np.sqrt(np.sum(top * (1 - top)))


def test_evidence_beats_the_prior(games):
    """The log loss is well below that of the prior alone: the games are not won by saying little."""
    said, truth = games
    prior = starting_prior(Ladder(particles=2, unexplained=0.0).prior, Evidence())[:-1]

    loss = -np.log(np.maximum(said[np.arange(truth.size), truth], 1e-12)).mean()

    assert loss < -np.log(prior[truth]).mean() - 1.0

"""Joint faults are found on the ladder: pairs of every kind, behind a first repair, and none without need."""

from copy import copy
from dataclasses import dataclass, field

import numpy as np
import pytest
from hunt.ladder import KNOWN, LEAKS, NAMES, NETS, PARTS, Ladder, read_all, tolerances
from hunt.tables import HEALTHY, Tables, flat, part

from dustcap.faults.suspects import Leak, PartFault, Suspect
from dustcap.hunt.evidence import Complaint, Evidence, Reading, Sighting, Work
from dustcap.hunt.hunt import hunt
from dustcap.hunt.joint import BARREN, LOT, single_faults_fall_short, with_joint
from dustcap.hunt.posterior import posterior
from dustcap.predict.checks import Check

JOINT_FACTOR = 0.3  # expected faults of a unit: what a second fault costs, as on a board
VOLTS = tuple(Check("dc volts", net, "0V") for net in NETS)
OHMS = tuple(Check("ohms", a, b) for a, b in zip(NETS, (*NETS[1:], "0V"), strict=True))
GLUE = [Leak(a, b, "glue") for a, b in LEAKS]


def failed(ohms, suspect, u):
    """Ohms with every fault of the suspect at a severity of its own, `u` of shape (faults, ...)."""
    ohms = ohms.copy()
    for fault, quantile in zip(suspect.faults, u, strict=True):
        if isinstance(fault, Leak):
            ohms[..., NAMES.index((fault.a, fault.b))] = 1e3 * 1e5**quantile
        else:
            factor = {"open": 1e9, "short": 1e-5, "drifted high": 1.3 * (10 / 1.3) ** quantile}[fault.mode]
            ohms[..., NAMES.index(fault.part)] *= factor
    return ohms


class Joined(Ladder):
    """The ladder as a source that can predict joint faults; every suspect has severities of its own."""

    def prior_with(self, extra):
        """Members multiply; pairs of one lot or area are not treated apart here."""
        index = {s.faults: p for s, p in zip(self.suspects, self.single, strict=False)}
        more = [np.prod([index[(f,)] / JOINT_FACTOR for f in s.faults]) * JOINT_FACTOR**2 for s in extra]
        whole = np.append(self.single, more)
        return whole * self.single.sum() / whole.sum()

    def __post_init__(self):
        super().__post_init__()
        self.single = self.prior

    def grown(self, extra):
        """The same with joint faults at the end."""
        fresh = copy(self)
        fresh.suspects = (*self.suspects, *extra)
        fresh.shares = np.ones((len(fresh.suspects), self.particles))
        draws = [np.random.default_rng(len(s.key)).random((len(s.faults), self.particles)) for s in extra]
        rows = [failed(self.healthy, s, u) for s, u in zip(extra, draws, strict=True)]
        fresh.ohms, fresh.kept = np.stack([*self.ohms, *rows]), {}
        fresh.prior = self.prior_with(extra)
        fresh.asked = list(extra)
        return fresh

    renewed = None  # severities are not drawn anew here


OUT, LEG = Check("dc volts", "out", "0V"), Check("dc volts", "leg", "0V")


class Loaded(Tables):
    """An output that U1 holds high and C3 loads: both at once read as neither does by itself."""

    def prior_with(self, extra):
        """Members multiply; what is not in the model keeps its own."""
        single = {s.faults[0]: p for s, p in zip(self.suspects[1:], self.prior[1:], strict=True)}
        more = [np.prod([single[fault] for fault in s.faults]) for s in extra]
        whole = np.append(self.prior, more)
        return whole * self.prior.sum() / whole.sum()

    def grown(self, extra):
        """U1 and C3 together make 15.5 V; every other pair reads as its first fault does."""
        first = [[s.faults[0] for s in self.suspects[1:]].index(suspect.faults[0]) + 1 for suspect in extra]
        names = [{fault.part for fault in suspect.faults} for suspect in extra]
        more = {
            check: np.stack(
                [np.full(4, 15.5) if name == {"U1", "C3"} else row[i] for i, name in zip(first, names, strict=True)]
            )
            for check, row in self.rows.items()
        }
        rows = {check: np.concatenate([row, more[check]]) for check, row in self.rows.items()}
        return Tables((*self.suspects, *extra), self.prior_with(extra), rows)


def test_faults_that_act_on_each_other_are_thought_of():
    """24 V by the one, 0.1 V by the other, 15.5 V was read twice: the pair leads, not "nothing explains it"."""
    suspects = (HEALTHY, part("C3", "short"), part("R1"), part("R2"), part("U1", "stuck high"))
    table = Loaded(
        suspects, np.array([0.1, 0.2, 0.2, 0.2, 0.27]), {OUT: flat(0, 0.1, 0, 3, 24), LEG: flat(0, 0.1, 0, 3, 24)}
    )
    told = Evidence((Complaint("no output"), Reading(OUT, 15.5, 15.5), Reading(LEG, 15.5, 15.5)))
    got = hunt(table, told, further=table)
    assert {fault.part for fault in got.suspects[0].suspect.faults} == {"U1", "C3"}
    assert got.unexplained < 0.3


@dataclass
class Counted(Loaded):
    """The same with the pairs of which volts were asked."""

    solved: set = field(default_factory=set)

    def grown(self, extra):
        """Every pair reads as the healthy board does."""
        rows = {check: np.concatenate([row, row[:1].repeat(len(extra), 0)]) for check, row in self.rows.items()}
        found = Tables((*self.suspects, *extra), self.prior_with(extra), rows)
        found.readings = lambda check: (self.solved.update(extra), rows[check])[1]
        return found


def test_pairs_are_given_up_once_a_row_of_them_came_to_nothing():
    """Seven parts by themselves make the one reading, seven the other; of the 49 pairs a few lots are solved."""
    suspects = (HEALTHY, *(part(f"R{number}") for number in range(14)))
    volts = {OUT: flat(0, *[15.5] * 7, *[0] * 7), LEG: flat(0, *[0] * 7, *[8.0] * 7)}
    table = Counted(suspects, np.full(15, 0.97 / 15), volts)
    with_joint(table, Evidence((Reading(OUT, 15.5, 15.5), Reading(LEG, 8.0, 8.0))))
    assert LOT <= len(table.solved) <= BARREN + LOT


def unit(suspect, rng):
    """The ohms of one unit with these faults."""
    return failed(tolerances((), rng), suspect, rng.uniform(0.05, 0.95, len(suspect.faults)))


def read(ohms, check):
    """A reading with the errors of the model and a handheld meter, in one normal draw less than reckoned with."""
    value = float(read_all(ohms, check))
    return Reading(check, over=True) if np.isinf(value) else Reading(check, value, value)


def read_everything(ohms):
    """Volts at every net and ohms along the ladder."""
    return [read(ohms, check) for check in (*VOLTS, *OHMS)]


def random_pair(rng):
    """Two faults of different parts or places."""
    while True:
        some = [Ladder(particles=2).suspects[i] for i in rng.choice(np.arange(1, 28), 2, replace=False)]
        faults = tuple(fault for suspect in some for fault in suspect.faults)
        if len({getattr(fault, "part", fault) for fault in faults}) == 2:
            return Suspect(faults)


def changes(suspect, ohms_healthy, u):
    """Whether each fault alone changes some reading by a tenth: one that changes none cannot be found."""
    for number, _fault in enumerate(suspect.faults):
        rest = Suspect(tuple(f for i, f in enumerate(suspect.faults) if i != number))
        with_both, without = failed(ohms_healthy, suspect, u), failed(ohms_healthy, rest, np.delete(u, number))
        pairs = [(read_all(with_both, check), read_all(without, check)) for check in (*VOLTS, *OHMS)]
        if not any(np.isfinite(a) and np.isfinite(b) and abs(np.log(a / b)) > 0.1 for a, b in pairs):
            return False
    return True


def test_random_double_faults_are_named():
    """In at least eight of ten double faults both parts (or the area) head the list after volts and ohms everywhere."""
    rng, table = np.random.default_rng(8), Joined()
    named, played = 0, 0
    while played < 12:
        suspect, healthy, u = random_pair(rng), tolerances((), rng), rng.uniform(0.05, 0.95, 2)
        if not changes(suspect, healthy, u):
            continue
        told = Evidence(tuple(read_everything(failed(healthy, suspect, u))))
        found = posterior(with_joint(table, told), told)
        first = found.predictions.suspects[int(np.argmax(found.probability))]
        played += 1
        named += {getattr(f, "part", "glue") for f in suspect.faults} <= {
            getattr(f, "part", "glue") for f in first.faults
        }

    assert named >= 10


def test_what_the_first_repair_leaves_is_explained_by_the_second_fault():
    """R2 open and R8 short: after R2 was replaced the hunt goes on to R8 by what was read before."""
    rng, table = np.random.default_rng(5), Joined()
    both = Suspect((PartFault("R2", "open"), PartFault("R8", "short")))
    before = read_everything(unit(both, rng))

    got = hunt(table, Evidence((*before, Work("replaced", part="R2"))), known=KNOWN, next=0)

    assert got.suspects[0].suspect == part("R8", "short")
    assert got.suspects[0].probability > 0.8
    assert got.healthy < 0.1


def test_two_leaks_of_one_area_are_one_explanation():
    """Residue that leaks in two places is a joint fault with an ohm range for each leak."""
    rng, table = np.random.default_rng(2), Joined()
    both = Suspect((GLUE[0], GLUE[2]))
    ohms = failed(tolerances((), rng), both, np.array([0.3, 0.45]))

    got = hunt(table, Evidence(tuple(read_everything(ohms))), known=KNOWN, next=0).suspects[0]

    assert set(got.suspect.faults) == set(both.faults)
    assert got.probability > 0.8


def test_one_fault_that_explains_everything_grows_nothing():
    """No joint fault is simulated where a single one will do."""
    rng, table = np.random.default_rng(1), Joined()
    readings = read_everything(unit(part("R5", "open"), rng))

    assert with_joint(table, Evidence(tuple(readings))) is table


def test_a_joint_fault_explains_what_no_single_one_does():
    """The evidence is e^10 times likelier with the joint fault than on the plain ladder, which cannot predict any."""
    rng = np.random.default_rng(5)
    both = Suspect((PartFault("R2", "open"), PartFault("R8", "short")))
    told = Evidence(tuple(read_everything(unit(both, rng))))

    plain, joined = posterior(Ladder(), told), posterior(with_joint(Joined(), told), told)

    best = int(np.argmax(joined.probability))
    assert joined.predictions.suspects[best].faults == both.faults
    assert joined.probability[best] > 0.8
    assert joined.masses.log_total > plain.masses.log_total + 10


def test_residue_calls_for_more_than_single_faults():
    """Residue does; a complaint that stands after the work is first explained by what hid behind the mended fault."""
    hum, work = Complaint("hum"), Work("replaced", part="R2")

    assert not single_faults_fall_short(Evidence((hum,)))
    assert not single_faults_fall_short(Evidence((hum, work, hum)))
    assert single_faults_fall_short(Evidence((Sighting("R2", "residue"),)))


def test_three_faults_are_reached_through_their_pairs():
    """R2 and R5 open and R8 shorted are found together, through a pair of them that explains most."""
    rng, table = np.random.default_rng(4), Joined()
    three = Suspect((PartFault("R2", "open"), PartFault("R5", "open"), PartFault("R8", "short")))
    healthy = tolerances((), rng)
    readings = [read(failed(healthy, three, np.full(3, 0.5)), check) for check in (*VOLTS, *OHMS)]
    lifted = [read(failed(healthy, three, np.full(3, 0.5)), Check("lifted", part=name)) for name in PARTS]

    got = hunt(table, Evidence((*readings, *lifted)), known=KNOWN, next=0).suspects[0]

    assert {fault.part for fault in got.suspect.faults} == {"R2", "R5", "R8"}
    assert got.probability == pytest.approx(1.0, abs=0.3)

"""A small search on the judged take, and the candidates of a shot that come of it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from ..action.rehearsed import Action
from ..measures.measure import SIZE_KEPT
from ..optics.lens import Lens
from ..rigs.faults import rail_faults
from ..rigs.kinds import KINDS, place_of_kind
from ..rigs.layout import Steps
from .claimed import closing, views_told
from .constrained import breaks_stage_only, within_limits
from .descend import descend
from .in_room import free_views, standing_of
from .judge import HEAD_HELD, OTHERS_HELD
from .proposal import Proposal, build, lens_height
from .propose import (
    LOOSER,
    distance_of,
    propose_rails,
    propose_standing,
    suitable,
    unnatural,
)
from .score import ALMOST, Judged, judged, least_score
from .setup import Ask, Setup, View
from .trial import Rehearsal

EVALUATIONS = 25
WORTH_LAYING = 1.0  # points that the stage must cost before limits are laid within
WORTH_REFINING = 0.1  # points that there must be to gain; a third of a tie
RAIL_LENSES = 2  # for which rails are laid; all, where nothing holds
HELD_ENOUGH = 0.99  # of the frames show all heads: no reason to lose the size
LOOMING = ("below", "above")  # angles of the lens that who looms may need
MOST_AT_ONCE = 16  # setups that are worked in one call
MOST_PUT_OFF = 16  # proposals that stand in a set's parts, where nothing holds
BROKEN = 1e4  # added to a score for each unit by which a must is broken


def candidates(
    ask: Ask,
    rehearsal: Rehearsal | None = None,
    *,
    refine: bool = True,
    most: float = np.inf,
) -> list[Judged]:
    """Return every setup that was tried for a shot, best first.

    Proposes, lets the crew work each proposal, judges it, and then moves the best
    proposal of each kind of rig that could still win a little, as long as the judged
    take gets better. What a lower bound rules out is not simulated: a rail that
    breaks a must whoever operates it, or that costs more than sticks which hold from
    the same view. Where no head stays whole all the time, setups a little further
    away are tried as well, and where the shot claims something what that asks for.

    Args:
        ask: the shot.
        rehearsal: of it, where there is one.
        refine: whether the best are moved.
        most: trials, about; what is left to try then is left out.
    """
    stage = rehearsal or Rehearsal(ask)
    action = stage.action
    if ask.rig is not None:
        found = [judged(ask, stage.tried(setup)) for setup in _fixed_rig(ask, action)]
        return sorted(found, key=_order)
    search = _Search(stage, most)
    search.work(propose_standing(stage.known))
    lenses = _rail_lenses(ask, action, search.tried)
    search.work(propose_rails(stage.known, lenses[:RAIL_LENSES], search.may_pay))
    if not search.holds:
        search.work(propose_rails(stage.known, lenses[RAIL_LENSES:]))
    for looser in LOOSER:
        if search.held >= (1.0 if looser <= 1 + SIZE_KEPT else HELD_ENOUGH):
            break
        known = stage.known._replace(looser=looser)
        search.work(propose_standing(known))
        search.work(propose_rails(known, lenses[:RAIL_LENSES], search.may_pay))
    if not search.holds and ask.stage.set is not None:
        search.work_in_room(lenses)
    if not search.holds and any(one.verb == "looms" for one in ask.shot.claims):
        for angle in LOOMING:
            search.work(propose_standing(stage.known._replace(angle=angle)))
    if stage.blocking is not None:
        search.work(closing(stage.known, lenses))
        told = views_told(stage.known, stage.blocking)
        known = stage.known._replace(ask=replace(ask, views=told))
        search.work(propose_standing(known))
        search.work(propose_rails(known, lenses[:RAIL_LENSES], search.may_pay))
        search.work(closing(known, lenses))
    found = [verdict for _, verdict in search.tried]
    if refine:
        found += search.refined()
        laid = len(search.tried)
        search.work(_into_limits(ask, action, search.tried))
        rest = search.tried[laid:]
        found += [pair[1] for pair in rest] + [search.refine(*pair) for pair in rest]
    return sorted(found, key=_order)


class _Search:
    """The trials of one shot: proposals with their verdicts, in the order they came."""

    def __init__(self, stage: Rehearsal, most: float) -> None:
        self.most = most
        self.stage, self.ask, self.action = stage, stage.ask, stage.action
        self.tried: list[tuple[Proposal, Judged]] = []
        self._of_kind: dict[str, tuple[Proposal, Judged]] = {}  # the best
        self._held: dict[View, float] = {}  # from sticks, at this score
        self._put_off: list[Proposal] = []
        self._best = np.inf

    @property
    def held(self) -> float:
        """Share of the frames that show all heads whole, of the best that holds."""
        shares = [
            min(verdict.trial.numbers[HEAD_HELD], verdict.trial.numbers[OTHERS_HELD])
            for _, verdict in self.tried
            if verdict.holds
        ]
        return float(max(shares, default=0.0))

    @property
    def holds(self) -> bool:
        """Whether anything that was tried holds the shot."""
        return self._best < np.inf

    def work(self, proposals: Sequence[Proposal]) -> None:
        """Let the crew work proposals, each while it may be the best of its kind.

        One that can't hold may still be that, and hold when it is moved.
        """
        if self.ask.stage.set is not None:
            proposals = self._clear_first(proposals)
        self._work(proposals)

    def work_in_room(self, lenses: Sequence[Lens]) -> None:
        """Work what a set leaves free, and then what it hardly does.

        The last of it can only say what is in the way.
        """
        known, ask = self.stage.known, self.ask
        if len(ask.views) > 2 and lenses:
            views = free_views(ask, self.action, distance_of(ask, lenses[0]))
            if views:
                known = known._replace(ask=replace(ask, views=views))
                self.work(propose_standing(known))
                self.work(propose_rails(known, lenses[:RAIL_LENSES], self.may_pay))
        if not self.holds:
            self._work(self._put_off[:MOST_PUT_OFF])

    def _clear_first(self, proposals: Sequence[Proposal]) -> list[Proposal]:
        """Return proposals with a clear sight first; put off those that have none."""
        stage, found = self.ask.stage, []
        for proposal in proposals:
            setup = build(proposal, self.ask)
            if setup is None:
                continue
            stands = standing_of(stage, self.action, setup.rig)
            if stands.is_hopeless:
                self._put_off.append(proposal)
            else:
                found.append((stands.blocked, proposal))
        found.sort(key=lambda pair: pair[0])
        return [proposal for _, proposal in found]

    def _work(self, proposals: Sequence[Proposal]) -> None:
        built = [(each, build(each, self.ask)) for each in proposals]
        pairs = [(each, setup) for each, setup in built if setup is not None]
        for alike in _alike(pairs):
            left = self.most - self.stage.n_trials
            some = alike if left >= len(alike) else alike[: max(int(left), 0)]
            if not some:
                return
            best = self._of_kind.get(some[0][0].kind)
            least = np.inf if best is None else best[1].rank[0]
            trials = self.stage.tried_within([setup for _, setup in some], least)
            for (proposal, _), trial in zip(some, trials, strict=True):
                if trial is not None:
                    self._keep(proposal, judged(self.ask, trial))

    def may_pay(self, kind: str, lens: Lens, view: View) -> bool:
        """Tell whether a rail could beat the sticks that hold from the same view."""
        held = self._held.get(view, np.inf)
        return held > least_score(self.ask, kind, lens, view)

    def refined(self) -> list[Judged]:
        """Return the best of each kind of rig, made better; the best kind first.

        A kind is left out that could not win at the least that it scores, and one that
        has nothing left to gain.
        """
        found = []
        best = sorted(self._of_kind.values(), key=lambda pair: _order(pair[1]))
        for proposal, verdict in best:
            least = self._least(proposal)
            gained = verdict.holds and verdict.score - least < WORTH_REFINING
            if not gained and self._best > least:
                found.append(self.refine(proposal, verdict))
        return found

    def refine(self, proposal: Proposal, start: Judged) -> Judged:
        """Return the best of a search round a proposal; never worse than the start."""
        best = start
        ask = self.ask
        first = proposal.layout.first_steps(ask.stage)

        def cost(share: Steps) -> float:
            nonlocal best
            x, y, z = share[0] * first[0], share[1] * first[1], share[2] * first[2]
            setup = build(proposal.moved((x, y, z)), ask)
            if setup is None:
                return np.inf
            verdict = judged(ask, self.stage.tried(setup))
            if verdict.rank < best.rank:
                best = verdict
            return _cost(verdict)

        n = proposal.layout.n_free
        enough = self._least(proposal) + WORTH_REFINING
        left = min(float(EVALUATIONS), self.most - self.stage.n_trials)
        if left > n:
            descend(cost, n, _cost(start), int(left), enough, self._best)
        if best.holds:
            self._best = min(self._best, best.score)
        return best

    def _keep(self, proposal: Proposal, verdict: Judged) -> None:
        self.tried.append((proposal, verdict))
        best = self._of_kind.get(proposal.kind)
        if best is None or _order(verdict) < _order(best[1]):
            self._of_kind[proposal.kind] = (proposal, verdict)
        if not verdict.holds:
            return
        self._best = min(self._best, verdict.score)
        if not KINDS[proposal.kind].on_rail:
            held = self._held.get(proposal.view, np.inf)
            self._held[proposal.view] = min(held, verdict.score)

    def _least(self, proposal: Proposal) -> float:
        return least_score(self.ask, proposal.kind, proposal.lens, proposal.view)


def something_holds(stage: Rehearsal) -> bool:
    """Tell whether a proposal holds the shot; the first that does ends the trying."""
    return any(_some_hold(stage, setups) for setups in _proposed(stage))


def _proposed(stage: Rehearsal) -> Iterator[list[Setup]]:
    """Yield the setups proposed for a shot, rails for the most natural lenses.

    Those of a list have one lens.
    """
    ask, action = stage.ask, stage.action
    if ask.rig is not None:
        yield from ([setup] for setup in _fixed_rig(ask, action))
        return
    lenses = sorted(suitable(ask, action), key=lambda lens: unnatural(ask, lens))
    looser = stage.known._replace(looser=LOOSER[-1])
    for known, on_rail in product((stage.known, looser), (False, True)):
        proposals = (
            propose_rails(known, lenses[:RAIL_LENSES])
            if on_rail
            else propose_standing(known)
        )
        built = [(each, build(each, ask)) for each in proposals]
        pairs = [(each, setup) for each, setup in built if setup is not None]
        for alike in _alike(pairs):
            yield [setup for _, setup in alike]


def _alike(
    pairs: Iterable[tuple[Proposal, Setup]],
) -> Iterator[list[tuple[Proposal, Setup]]]:
    """Yield what follows one another with the same lens, kind and table of a rail."""
    some: list[tuple[Proposal, Setup]] = []
    last: object = None
    for proposal, setup in pairs:
        key = (setup.lens, proposal.kind, id(setup.rig.shape.table))
        if some and (key != last or len(some) == MOST_AT_ONCE):
            yield some
            some = []
        some.append((proposal, setup))
        last = key
    if some:
        yield some


def _some_hold(stage: Rehearsal, setups: Sequence[Setup]) -> bool:
    """Tell whether one of some setups holds; each is worked only as long as it may."""
    ask = stage.ask
    if ask.rig is None:
        setups = [
            setup
            for setup in setups
            if all(off <= ALMOST for off in rail_faults(ask.stage, setup.rig).values())
        ]
    trials = stage.tried_within(setups, 0.0, first=True) if setups else []
    return any(trial is not None and judged(ask, trial).holds for trial in trials)


def _into_limits(
    ask: Ask, action: Action, tried: Sequence[tuple[Proposal, Judged]]
) -> list[Proposal]:
    """Return proposals that the stage spoils, moved to where it allows them.

    Only those that would beat all that holds, the best of each kind.
    """
    holding = [verdict.score for _, verdict in tried if verdict.holds]
    to_beat = min(holding, default=np.inf) - WORTH_LAYING
    found = []
    for kind in KINDS:
        spoilt = [
            (verdict.score, k)
            for k, (proposal, verdict) in enumerate(tried)
            if proposal.kind == kind
            and proposal.layout.hold == "abreast"
            and verdict.score < to_beat
            and breaks_stage_only(verdict.broken)
        ]
        if spoilt:
            proposal = within_limits(ask, action, tried[min(spoilt)[1]][0])
            if proposal is not None:
                found.append(proposal)
    return found


def _rail_lenses(
    ask: Ask, action: Action, tried: Sequence[tuple[Proposal, Judged]]
) -> list[Lens]:
    """Return the suitable lenses in the order in which rails are laid for them.

    The most natural first, then the one that does best on sticks, then the others.
    """
    lenses = sorted(suitable(ask, action), key=lambda lens: unnatural(ask, lens))
    if tried:
        best = min((verdict for _, verdict in tried), key=_order).setup.lens
        first = lenses[0]
        lenses.sort(key=lambda lens: (lens is not first, lens is not best))
    return lenses


def _order(verdict: Judged) -> tuple[float, float, int, float]:
    setup = verdict.setup
    return (*verdict.rank, place_of_kind(setup.rig.kind), setup.lens.focal_mm)


def _fixed_rig(ask: Ask, action: Action) -> list[Setup]:
    """Return the setups that a fixed rig leaves open: its lenses, and its height."""
    shot, rig = ask.shot, ask.rig
    assert rig is not None
    eyes = float(action.eyes[:, 1].mean())
    return [
        Setup(
            lens=lens,
            rig=(
                rig.at_height(lens_height(ask, distance_of(ask, lens), eyes))
                if ask.height_open
                else rig
            ),
            view=None,
            hold=shot.hold,
            view_rad=shot.view_rad,
            offset=shot.side_offset,
            follow=shot.follow,
        )
        for lens in ask.lenses
    ]


def _cost(verdict: Judged) -> float:
    broken, score = verdict.rank
    return BROKEN * broken + score

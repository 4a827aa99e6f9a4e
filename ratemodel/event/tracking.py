"""A damped shock followed stage by stage to its peak, and the course of a single event."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray, IntArray
from ratemodel.event.lines import Arrangement
from ratemodel.event.motion import Motion, Peak
from ratemodel.event.stepping import DONE, SLIP, STRETCH, State, System, joined
from ratemodel.event.undamped import elastic_peak

STEPS = 20  # per √(m/k); fourth order: error of the force below 1e-6
_EASY_STEPS = 10  # enough where nothing slips and damping is light: below 1e-5
_LIGHT = 0.5  # damping over the critical one up to which it counts as light
_CLOSE = 1e-8  # dimensionless distance from a change of stage that counts as there
_LONGEST = 40.0  # in √(m/k) without reaching any event


@dataclass(frozen=True)
class Row:
    """One step of the draws still moving: who, from which state, how far, to which force."""

    who: IntArray
    state: State
    step: FloatArray
    first_force: FloatArray
    last_force: FloatArray
    end_extension: FloatArray


@dataclass(frozen=True)
class Track:
    """All steps, and the largest force with its moment; ``endless`` marks slips without end."""

    rows: tuple[Row, ...]
    best: State
    force: FloatArray
    run: FloatArray
    endless: BoolArray


def system_of(line: Arrangement, viscosity: FloatArray, motion: Motion) -> System:
    """Scales taken from the undamped, slip-free peak: its force, and √(m/k) by the secant to it."""
    top = elastic_peak(line, motion)
    force = np.maximum(line.force(top), 1e-12)
    moved = np.maximum(top - motion.start, 1e-12)
    gained = np.maximum(line.force(top) - line.force(motion.start), 1e-12)
    time = np.sqrt(motion.mass * moved / gained)
    return System(line, viscosity, motion, force, time)


def solve(system: System) -> Peak:
    """Peak of a damped shock; the half-way point is where the total force passes half of it."""
    ratio = 0.5 * system.viscosity * system.time_scale / system.motion.mass
    easy = np.isinf(system.motion.slip_force) & (ratio < _LIGHT)
    track = follow(system, np.where(easy, _EASY_STEPS, STEPS))
    half_time, half_extension = _first_passage(system, track, track.force / 2)
    force, best = track.force, track.best
    return Peak(
        force=force,
        extension=best.extension,
        half=half_extension,
        time_s=best.time,
        rise_s=best.time - half_time,
        run_out=track.run,
        endless=bool(track.endless.any()),
    )


def follow(system: System, steps: FloatArray) -> Track:
    """Step all draws until each has come to rest; ``steps`` per √(m/k), one for each draw."""
    n = system.viscosity.size
    zero = np.zeros(n)
    now = State(
        zero.copy(),
        system.motion.start.copy(),
        system.motion.speed.copy(),
        zero.copy(),
        np.full(n, STRETCH, dtype=np.int64),
    )
    now = _change(system, now, system.margin(now) < 0)  # a damper may reach the slip force at once
    value, pace = system.force(now), system.growth(now)
    best, force = now.take(np.arange(n)), value.copy()
    rows: list[Row] = []
    summits: list[tuple[IntArray, State, FloatArray]] = []
    since, endless = zero.copy(), np.zeros(n, dtype=bool)
    brake = system.motion.slip_force - system.motion.drive
    hopeless = (brake <= 0) & np.isinf(system.motion.run_out)
    while (active := np.flatnonzero(now.stage != DONE)).size:
        part, state = system.take(active), now.take(active)
        step = part.step_length(state, steps[active])
        end = part.advance(state, step)
        ends = part.margin(end) < 0
        # Coming to rest needs no exact moment: the force has passed its summit by then.
        crossing = np.flatnonzero(ends & ~part.stopped(end))
        if crossing.size:
            step[crossing] = _shorten(part, state, step, crossing)
            end.put(crossing, part.take(crossing).advance(state.take(crossing), step[crossing]))
        row = Row(active, state, step, value[active], part.force(end), end.extension)
        rows.append(row)
        rate = part.growth(end, None if part.capped else row.last_force)
        summit = (state.stage != SLIP) & (step > 0) & (pace[active] > 0) & (rate < 0)
        inside = np.flatnonzero(summit)
        summits.append((active[inside], state.take(inside), step[inside]))
        _note_ends(row, end, (best, force))
        moved = _change(part, end, ends)
        # With the stage the force may jump; otherwise it is known from the end of this step.
        jumps = part.capped and bool((moved.stage != state.stage).any())
        value[active] = part.force(moved) if jumps else row.last_force
        pace[active] = rate
        since[active] = np.where(moved.stage == state.stage, since[active] + step, 0.0)
        late = (since[active] > _LONGEST * part.time_scale) & (moved.stage != DONE)
        lost = late & ((moved.stage != SLIP) | hopeless[active])
        if lost.any():
            endless[active] |= lost & (moved.stage == SLIP)
            moved = replace(moved, stage=np.where(lost, DONE, moved.stage))
        now.put(active, moved)
    _note_summits(system, summits, (best, force))
    return Track(tuple(rows), best, force, now.run, endless)


def _note_ends(row: Row, end: State, largest: tuple[State, FloatArray]) -> None:
    """Keep state and value of the largest force so far at the ends of a step."""
    _note(row.who, row.state, row.first_force, largest)
    _note(row.who, end, row.last_force, largest)


def _note_summits(
    system: System,
    summits: list[tuple[IntArray, State, FloatArray]],
    largest: tuple[State, FloatArray],
) -> None:
    """Find the summits inside steps, of all draws and steps at once."""
    who = np.concatenate([s[0] for s in summits]) if summits else np.empty(0, dtype=np.int64)
    if not who.size:
        return
    begin = joined([s[1] for s in summits])
    some = system.take(who)
    step = np.concatenate([s[2] for s in summits])
    h = falling_root(lambda h: some.growth(some.advance(begin, h)), step)
    top = some.advance(begin, h)
    # A summit above the slip force within one step is the slip force but for a hair.
    limit = np.where(top.stage == STRETCH, some.motion.slip_force, np.inf)
    value = np.minimum(some.force(top), limit)
    # A draw may have several: the first of the highest is kept.
    first = np.lexsort((np.arange(who.size), -value, who))
    first = first[np.r_[True, np.diff(who[first]) > 0]]
    _note(who[first], top.take(first), value[first], largest)


def _note(who: IntArray, when: State, value: FloatArray, largest: tuple[State, FloatArray]) -> None:
    best, force = largest
    # Rounding at the slip force is no new peak.
    more = np.flatnonzero(value > force[who] * (1 + 1e-9))
    best.put(who[more], when.take(more))
    force[who[more]] = value[more]


def _change(part: System, state: State, ends: BoolArray) -> State:
    if not ends.any():
        return state
    return replace(state, stage=np.where(ends, part.next_stage(state), state.stage))


def _shorten(part: System, state: State, step: FloatArray, who: IntArray) -> FloatArray:
    """Length of the step that ends just where the stage does.

    Only the ending that the step has passed is looked at: slipping begins at zero speed, which
    must not be taken for its end.
    """
    some, begin = part.take(who), state.take(who)
    rest, limit = some.endings(some.advance(begin, step[who]))

    def nearest(h: FloatArray) -> FloatArray:
        to_rest, to_limit = some.endings(some.advance(begin, h))
        one = np.where(rest < 0, to_rest, to_limit)
        return np.where((rest < 0) & (limit < 0), np.minimum(to_rest, to_limit), one)

    return falling_root(nearest, step[who])


def falling_root(value: Callable[[FloatArray], FloatArray], high: FloatArray) -> FloatArray:
    """Where a function positive at 0 and negative at ``high`` passes zero (Illinois method)."""
    low = np.zeros_like(high)
    f_low, f_high = value(low), value(high)
    f_low = np.maximum(f_low, 0.0)
    whole = high.copy()
    answer, done = high.copy(), np.zeros(high.shape, dtype=bool)
    side = np.zeros(high.shape)
    for _ in range(60):
        with np.errstate(invalid="ignore", divide="ignore"):
            x = high - f_high * (high - low) / (f_high - f_low)
        x = np.where((x > low) & (x < high), x, (low + high) / 2)
        f = value(x)
        over = f <= 0
        # Halving the value kept twice in a row is what makes the method converge fast.
        f_low = np.where(over, np.where(side == 1, f_low / 2, f_low), f)
        f_high = np.where(over, f, np.where(side == -1, f_high / 2, f_high))
        low, high = np.where(over, low, x), np.where(over, x, high)
        side = np.where(over, 1.0, -1.0)
        near = np.abs(f) < _CLOSE
        # An answer once found stays, so that no draw depends on how long its neighbours take.
        answer = np.where(done, answer, np.where(near, x, high))
        done |= near | (high - low <= _CLOSE * whole)
        if done.all():
            break
    return answer


def _first_passage(
    system: System, track: Track, level: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Time and extension at which the force first reaches a level."""
    time, extension = track.best.time.copy(), track.best.extension.copy()
    open_ = np.ones(level.shape, dtype=bool)
    found: list[tuple[IntArray, State, FloatArray]] = []
    for row in track.rows:
        here = open_[row.who] & (row.first_force >= level[row.who])
        time[row.who[here]] = row.state.time[here]
        extension[row.who[here]] = row.state.extension[here]
        open_[row.who[here]] = False
        inside = np.flatnonzero(open_[row.who] & (row.last_force >= level[row.who]))
        found.append((row.who[inside], row.state.take(inside), row.step[inside]))
        open_[row.who[inside]] = False
    who = np.concatenate([f[0] for f in found])
    if who.size:
        some, begin = system.take(who), joined([f[1] for f in found])
        goal, step = level[who], np.concatenate([f[2] for f in found])

        def lack(h: FloatArray) -> FloatArray:
            miss = goal - some.force(some.advance(begin, h))
            return np.asarray(miss / some.force_scale)

        end = some.advance(begin, falling_root(lack, step))
        time[who], extension[who] = end.time, end.extension
    return time, extension

"""Break lines of schedule, odds, judge and replan one at a time; which test notices?

    python tests/long/mutate_lines.py             all, a quarter of an hour
    python tests/long/mutate_lines.py judge       those whose name holds a word

Ends as mutate_formulas.py does.
"""

from __future__ import annotations

import sys

from mutating import Mutation, run

# Quickest first: the run ends with the first test that fails.
SCHEDULE = (
    "cureplan/planning/schedule tests/schedule/test_tables.py "
    "tests/schedule/test_against_brute_force.py tests/schedule/test_construct.py"
)
ODDS = "tests/schedule/test_nights_drawn.py tests/schedule/test_odds_are_honest.py"
JUDGE = "tests/judge/test_judge_pours.py tests/judge/test_judge_way_back.py"
VARIANTS = "tests/judge/test_judge_variants.py"
REPLAN = "tests/replan/test_going_on.py tests/replan/test_replan.py"

MUTATIONS = (
    Mutation(
        "schedule: a stretch that is over still meets",
        "return begins_s < self.ends_s and self.begins_s < ends_s",
        "return begins_s < self.ends_s",
        f"{SCHEDULE} {REPLAN}",
    ),
    Mutation(
        "schedule: no set-up at the start of a shift",
        "int(slots.first_from(max(span.begins_s + setup_s, soonest_s))),",
        "int(slots.first_from(max(span.begins_s, soonest_s))),",
        SCHEDULE,
    ),
    Mutation(
        "schedule: margin of the expected night alone",
        "return margin_s, sure_s, min(margin_s, sure_s + pours.job.policy.margin_s)",
        "return margin_s, sure_s, margin_s",
        f"{SCHEDULE} {VARIANTS}",
    ),
    Mutation(
        "schedule: a task may begin before its time",
        "return self._count(np.ceil, np.asarray(epoch_s) - _EPS_S)",
        "return self._count(np.floor, np.asarray(epoch_s) - _EPS_S)",
        SCHEDULE,
    ),
    Mutation(
        "schedule: no walk to the next room in forward timing",
        'return "follows" if poured and problem.same_group(task[0], other[0]) else "frees"',
        'return "follows" if poured and problem.same_group(task[0], other[0]) else "ends"',
        SCHEDULE,
    ),
    Mutation(
        "schedule: forward timing crosses wet floors",
        "shuts, walks = int(stage.shuts[k]), int(stage.walks[k])",
        "shuts, walks = int(stage.walks[k]), int(stage.walks[k])",
        SCHEDULE,
    ),
    Mutation(
        "schedule: no margin is missing",
        "missing_s = job.policy.margin_s - at_starts(table.margin_s)",
        "missing_s = 0.0 - at_starts(table.margin_s)",
        SCHEDULE,
    ),
    Mutation(
        "schedule: no changeover between pours",
        "frees=slots.first_from(done_s + job.crew.changeover_s),",
        "frees=slots.first_from(done_s),",
        f"{SCHEDULE} {VARIANTS}",
    ),
    Mutation(
        "schedule: a room may be ready too late",
        "(opens_s + GUARD_S + sure.late_s <= due_s)",
        "(opens_s + GUARD_S + sure.late_s <= due_s + 86400.0)",
        SCHEDULE,
    ),
    Mutation(
        "schedule: ready before it can be washed",
        'float(np.max(reached[name])) for name in ("foot_traffic", "wheels", "wash_down")',
        'float(np.max(reached[name])) for name in ("foot_traffic", "wheels", "wheels")',
        f"{SCHEDULE} tests/planning/test_reopening.py",
    ),
    Mutation(
        "schedule: a coat bears feet where it was laid first",
        'foot_s.append(reached("foot_traffic").max(axis=1))',
        'foot_s.append(reached("foot_traffic").min(axis=1))',
        SCHEDULE,
    ),
    Mutation(
        "schedule: the best shift is cut away",
        "kept[pour] &= stages[pour].span <= best.last_shift",
        "kept[pour] &= stages[pour].span < best.last_shift",
        SCHEDULE,
    ),
    Mutation(
        "schedule: narrowed beyond the best",
        "mask &= stage.short <= best.short_most",
        "mask &= stage.short < best.short_most",
        SCHEDULE,
    ),
    Mutation(
        "schedule: the worse of two choices is kept",
        "if self.score is None or found < self.score:",
        "if self.score is None or found > self.score:",
        SCHEDULE,
    ),
    Mutation(
        "schedule: the solver lets crews be in two rooms",
        "of_them = [at for at in busy if crew_of[at] in crews]",
        "of_them = [at for at in busy if crew_of[at] in crews and at[1]]",
        SCHEDULE,
    ),
    Mutation(
        "schedule: the solver forgets when a window closes",
        'self.model.add(after.begin <= task.offset("closes"))',
        "pass",
        SCHEDULE,
    ),
    Mutation(
        "odds: crews drag from the wrong hour",
        "return self.slow_frac[:, None] * np.maximum(planned_s - self.begins_s, 0.0)",
        "return self.slow_frac[:, None] * (planned_s - self.begins_s + 43200.0)",
        ODDS,
    ),
    Mutation(
        "odds: crews come early as often as late",
        "late, slow = size * np.abs(random.normal(2, members))",
        "late, slow = size * random.normal(2, members)",
        ODDS,
    ),
    Mutation(
        "odds: known hours err like forecasts",
        "spread_k = np.where(hours_s > issued_s, forecast_sd_k(lead_s), 0.0)",
        "spread_k = forecast_sd_k(lead_s + 86400.0)",
        ODDS,
    ),
    Mutation(
        "odds: slabs err by too much of their own",
        "own = np.sqrt(1.0 - SLAB_SHARED) * random.standard_normal(shape)",
        "own = 3.0 * random.standard_normal(shape)",
        ODDS,
    ),
    Mutation(
        "odds: a reading is remembered for ever",
        "kept = conditions.reading_share(hours_s, reading_s=read_s, until_s=read_s)",
        "kept = np.ones_like(hours_s)",
        ODDS,
    ),
    Mutation(
        "odds: age gathers at twice the pace",
        "steps = np.diff(expected_s) * 0.5 * (pace[:, 1:] + pace[:, :-1])",
        "steps = np.diff(expected_s) * (pace[:, 1:] + pace[:, :-1])",
        ODDS,
    ),
    Mutation(
        "odds: one bucket that holds will do",
        "buckets_ok &= kept.all(axis=1)",
        "buckets_ok &= kept.any(axis=1)",
        f"{ODDS} {VARIANTS}",
    ),
    Mutation(
        "odds: a past job was decided half a day after",
        "return now_s if now_s < begins_s else begins_s - DECIDED_S",
        "return now_s if now_s < begins_s else begins_s + DECIDED_S",
        f"{ODDS} {VARIANTS}",
    ),
    Mutation(
        "odds: vacuuming waits for no floor",
        "soon |= np.any(age_s < below.needs_s[done.bears], axis=1)",
        "soon |= np.any(age_s < -1.0, axis=1)",
        ODDS,
    ),
    Mutation(
        "judge: a bucket need not be hauled",
        "poured_s = at.filler_s + card.filler_mix_s + pace.haul_s",
        "poured_s = at.filler_s + card.filler_mix_s",
        JUDGE,
        "judge",
    ),
    Mutation(
        "judge: stations turn round in no time",
        "cycle_s = card.liquids_mix_s + card.filler_mix_s + card.turnaround_s",
        "cycle_s = card.liquids_mix_s + card.filler_mix_s",
        JUDGE,
        "judge/bucket_rules",
    ),
    Mutation(
        "judge: kits without waste",
        "needed_m3 = share_m2[bay] * (1 + materials.waste) * thickness_m",
        "needed_m3 = floor.room.area_m2 / len(set(bays)) * thickness_m",
        JUDGE,
        "judge",
    ),
    Mutation(
        "judge: the answer to ice is not looked at",
        "if sorted(iced) != sorted(chilled) or chill.iced != bool(chilled):",
        "if sorted(iced) != sorted(chilled):",
        JUDGE,
        "judge",
    ),
    Mutation(
        "judge: no changeover is asked",
        'return own if before.label == after.label == "pour" else crew.changeover_s',
        'return own if before.label == after.label == "pour" else 0.0',
        JUDGE,
        "judge",
    ),
    Mutation(
        "judge: no set-up is asked",
        "ready_s = epoch_s(window.begins) + case.plan.job.crew.setup_s",
        "ready_s = epoch_s(window.begins)",
        JUDGE,
        "judge",
    ),
    Mutation(
        "judge: an hour on a wet floor is let pass",
        "if shared_s > SECOND_S:",
        "if shared_s > 3600.0:",
        JUDGE,
        "judge",
    ),
    Mutation(
        "judge: too many may be called",
        "if call.people != people:",
        "if call.people < people:",
        JUDGE,
        "judge",
    ),
    Mutation(
        "judge: a margin may be stated too small",
        "off_s = abs(bucket.margin_min * 60 - float(least_s[i]))",
        "off_s = bucket.margin_min * 60 - float(least_s[i])",
        JUDGE,
        "judge",
    ),
    Mutation(
        "judge: a damp slab is coated",
        "if over_k[worst] < least_k - DEW_TOL_K:",
        "if over_k[worst] < least_k - 5.0:",
        JUDGE,
        "judge",
    ),
    Mutation(
        "replan: buckets in between are not late",
        "poured_s = planned_s[: upto.size] + np.interp(upto, numbers, late_s)",
        "poured_s = planned_s[: upto.size] + late_s[-1] * (upto == numbers[-1])",
        REPLAN,
    ),
    Mutation(
        "replan: lateness of a floor is forgotten at its end",
        "due_s = planned_s[poured_s.size :] + late_s",
        "due_s = planned_s[poured_s.size :]",
        REPLAN,
    ),
    Mutation(
        "replan: a bucket's clocks count from the pour",
        "filler_in_s = pour_s - self.job.pace.haul_s - self.job.cards.slurry.filler_mix_s",
        "filler_in_s = pour_s",
        REPLAN,
    ),
    Mutation(
        "replan: a wait is over before it is",
        "held_s = max(free_s, state.wait_s if state.wait_said_s >= last_s else -np.inf)",
        "held_s = free_s",
        REPLAN,
    ),
    Mutation(
        "replan: a bucket may land in the past",
        "return max(due_s, state.now_s)",
        "return due_s",
        REPLAN,
    ),
)


if __name__ == "__main__":
    sys.exit(run(MUTATIONS, sys.argv[1:]))

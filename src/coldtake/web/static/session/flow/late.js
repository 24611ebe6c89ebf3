// @ts-check
// A late start, looked up: what stays for how many minutes is decided with the plan, on the server
// (`planning.day.late_start`), and comes along with it, so that it holds without a server too.

/** @import {Plan, Slot, LateStarts} from "../model.js" */

/**
 * @param {Plan} plan
 * @param {LateStarts} late what came with this plan
 * @param {number} minutes that are left, breaks included
 * @returns {{plan: Plan, dropped: Slot[]}}
 */
export function shortened(plan, late, minutes) {
  const row = late.rows.findLast((r) => r.minutes_left <= minutes);
  const slots = plan.periods.flatMap((p) => p.slots);
  const lengths = new Map(slots.map((slot, n) => [slot.id, row?.minutes[n] ?? 0]));
  const dropped = late.best_first.map((n) => slots[n]).filter((s) => !lengths.get(s.id));
  const periods = plan.periods
    .map((p) => ({ ...p, slots: p.slots.flatMap((s) => cut(s, lengths.get(s.id) ?? 0)) }))
    .filter((p) => p.slots.length > 0);
  return { plan: { ...plan, periods, run: null, spare: [...dropped, ...plan.spare] }, dropped };
}

/** @param {Slot} slot @param {number} minutes @returns {Slot[]} */
const cut = (slot, minutes) => (minutes ? [{ ...slot, minutes }] : []);

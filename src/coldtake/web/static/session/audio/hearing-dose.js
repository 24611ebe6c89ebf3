// @ts-check
// A day's dose of sound: NIOSH, Criteria for a Recommended Standard: Occupational Noise Exposure,
// publication 98-126, 1998: 85 dB(A) for 8 hours is 100 %, every 3 dB more halves the time; levels
// from 80 to 140 dB(A) count.

export const LIMIT_DB = 85;
export const LIMIT_S = 8 * 3600;
const EXCHANGE_DB = 3;
const LEAST_DB = 80;
const MOST_DB = 140;

/** Seconds at a level that make a whole dose. @param {number} db dB(A) */
export const allowedS = (db) => LIMIT_S / 2 ** ((db - LIMIT_DB) / EXCHANGE_DB);

/** Per cent of a day's dose. @param {number} db dB(A) @param {number} seconds */
export const dosePercent = (db, seconds) =>
  db < LEAST_DB || db > MOST_DB ? 0 : (100 * seconds) / allowedS(db);

/** The level over eight hours that makes the same dose. @param {number} percent > 0 */
export const averageDb = (percent) => 10 * Math.log10(percent / 100) + LIMIT_DB;

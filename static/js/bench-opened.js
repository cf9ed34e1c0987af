// The time since opening: by the steady clock of this page where it was opened here, else by the wall clock.

import { part, root } from "./bench-page.js";
import { newKey } from "./bench-queue.js";

export const clock = newKey(); // names this page's steady clock, which no other page shares

export class Opened {
  constructor() {
    const { opened, openedMs, openedClock } = root.dataset;
    this.zero = opened ? { at: Date.parse(opened), ms: Number(openedMs) || null, clock: openedClock } : null;
    setInterval(() => this.tick(), 1000);
  }

  // Whatever was said of the opening on this tablet holds at once; null takes it back.
  is(zero) {
    this.zero = zero;
    this.tick();
  }

  sinceMs(now = Date.now(), steady = performance.now()) {
    if (!this.zero) return null;
    return this.zero.clock === clock && this.zero.ms !== null ? steady - this.zero.ms : now - this.zero.at;
  }

  // The times that go with everything that is said: of the wall clock, of the steady one, and since opening.
  moment() {
    const now = new Date(), steady = Math.round(performance.now()), since = this.sinceMs(now.getTime(), steady);
    return {
      observed_at: now.toISOString(), entered_at: now.toISOString(), device_ms: steady, clock,
      clock_offset_ms: Math.round(Number(localStorage.getItem("bench-offset") ?? 0)),
      ...(since !== null && since >= 0 ? { minutes_since_opening: Math.round(since / 600) / 100 } : {}),
    };
  }

  // The times of a file, as the form that carries it has them.
  taken(times = this.moment()) {
    const { minutes_since_opening: minutes } = times;
    return { taken_at: times.observed_at, device_ms: String(times.device_ms), clock, ...(minutes === undefined ? {} : { minutes_since_opening: String(minutes) }) };
  }

  tick() {
    const since = this.sinceMs();
    if (since === null) { part("opened").textContent = "not opened yet"; return; }
    const seconds = Math.max(0, Math.floor(since / 1000)), minutes = Math.floor(seconds / 60), hours = Math.floor(minutes / 60);
    part("opened").textContent = hours >= 1 ? `opened ${hours} h ${minutes % 60} min ago` : `opened ${minutes} min ${seconds % 60} s ago`;
  }
}

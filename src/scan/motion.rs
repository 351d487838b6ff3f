//! Motion: how long moves take and how fast the head is at each place, for a constant acceleration
//! (trapezoidal speed). Lengths in mm, speeds in mm/s, accelerations in mm/s², times in s.
//!
//! Every chain of moves in one direction at one speed starts and ends at rest.

use serde::Serialize;

/// The way in which the head gets from rest to `speed`: `v²/(2a)`, mm (uniform acceleration).
pub fn ramp_mm(speed: f64, acceleration: f64) -> f64 {
    speed * speed / (2.0 * acceleration)
}

/// Time from rest to rest over `length`, with at most `speed`: `L/v + v/a`, or `2 √(L/a)` where the
/// way is too short to reach the speed.
pub fn rest_to_rest(length: f64, speed: f64, acceleration: f64) -> f64 {
    if length <= 0.0 {
        0.0
    } else if length >= speed * speed / acceleration {
        length / speed + speed / acceleration
    } else {
        2.0 * (length / acceleration).sqrt()
    }
}

/// Time from rest over `length`, or from there to rest, with at most `speed`.
pub fn from_rest(length: f64, speed: f64, acceleration: f64) -> f64 {
    rest_to_rest(2.0 * length, speed, acceleration) / 2.0
}

/// Speed at `at` mm from the start of a chain of `length` mm that starts and ends at rest.
pub fn speed_at(at: f64, length: f64, speed: f64, acceleration: f64) -> f64 {
    let near = at.min(length - at).max(0.0);
    speed.min((2.0 * acceleration * near).sqrt())
}

/// Extra dose where marking begins `run_up` mm after rest, as a fraction of the wanted dose (0.5 = 50 %
/// too much), mean over the first `over` mm; constant power. 0 where the run-up suffices.
///
/// The head needs `(√(2a(r+l)) − √(2ar))/a` for the first `l` mm, instead of `l/v`. With `over` 0 it is
/// the extra at the very edge, `v/√(2ar) − 1`, infinite without any run-up.
pub fn edge_extra_dose(speed: f64, acceleration: f64, run_up: f64, over: f64) -> f64 {
    let slow = ramp_mm(speed, acceleration) - run_up.max(0.0);
    if slow <= 0.0 {
        return 0.0;
    }
    let start = (2.0 * acceleration * run_up.max(0.0)).sqrt();
    if over <= 0.0 {
        return speed / start - 1.0;
    }
    let l = over.min(slow);
    let end = (2.0 * acceleration * (run_up.max(0.0) + l)).sqrt();
    let time = (end - start) / acceleration + (over - l) / speed;
    time * speed / over - 1.0
}

/// The highest speed whose `v²/(2a)` and settle length fit into `run_up`, mm/s (0 where none fits).
pub fn speed_for_run_up(run_up: f64, settle: f64, acceleration: f64) -> f64 {
    (2.0 * acceleration * (run_up - settle).max(0.0)).sqrt()
}

/// Time over `length` from `speed` to `speed`, where the head may go up to `top` between: it gets to
/// `u = √(v² + aL)` in the middle, which takes `2 (u − v)/a`, or goes on at `top` as long as it can.
pub fn hurried(length: f64, speed: f64, top: f64, acceleration: f64) -> f64 {
    let peak = (speed * speed + acceleration * length).sqrt();
    if peak <= top {
        2.0 * (peak - speed) / acceleration
    } else {
        let ramps = (top * top - speed * speed) / acceleration;
        2.0 * (top - speed) / acceleration + (length - ramps) / top
    }
}

/// The shortest blank stretch worth skipping by a rapid, mm: from there on, to slow down, travel at
/// `rapid` and speed up again takes less time than to cross the stretch in `crossing` seconds. `None` where it
/// never does. `ways` are the run-out before a rapid and the run-up behind it, mm.
///
/// A skip of a stretch g splits one chain into two: it costs a further `v/a`, and run-out and run-up are still
/// travelled at the scan speed.
pub fn skip_from(
    crossing: impl Fn(f64) -> f64,
    speed: f64,
    rapid: f64,
    acceleration: f64,
    ways: (f64, f64),
) -> Option<f64> {
    let ways = ways.0 + ways.1;
    if rapid <= speed {
        return None;
    }
    let saved = |gap: f64| {
        let skipped = ways / speed + speed / acceleration + rest_to_rest(gap - ways, rapid, acceleration);
        crossing(gap) - skipped
    };
    // The saving first falls, then grows for good: double until it is positive, then halve.
    let mut high = ways + 1.0;
    while saved(high) <= 0.0 {
        high *= 2.0;
        if high > 1e5 {
            return None;
        }
    }
    let mut low = ways;
    for _ in 0..60 {
        let mid = 0.5 * (low + high);
        if saved(mid) > 0.0 { high = mid } else { low = mid }
    }
    Some(high)
}

/// Where the time of a job goes.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Times {
    /// With the beam on, at the scan speed or as fast as the controller goes, s.
    pub burning_s: f64,
    /// Crossing blank stretches within lines, at the scan speed or in a hurry, s.
    pub crossing_s: f64,
    /// Run-ups and run-outs of lines, s.
    pub run_up_s: f64,
    /// Rapids over blank stretches within lines, with the slowing down and speeding up, s.
    pub skip_s: f64,
    /// Rapids from line to line, s.
    pub turn_s: f64,
    /// From the program's zero to the first line and back from the last, s.
    pub approach_s: f64,
    /// Dwells in the machine's header and footer, s.
    pub dwell_s: f64,
}

impl Times {
    /// The whole job, s.
    pub fn total(&self) -> f64 {
        let moves = self.burning_s + self.crossing_s + self.run_up_s + self.skip_s + self.turn_s;
        moves + self.approach_s + self.dwell_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_run_up_agrees_with_the_check_values() {
        // check value M01 (computed: v²/(2a)).
        for (v, a, want) in [
            (12.5, 500.0, 0.15625),
            (50.0, 500.0, 2.5),
            (100.0, 500.0, 10.0),
            (200.0, 3000.0, 6.666666666666667),
        ] {
            assert!((ramp_mm(v, a) - want).abs() < 1e-9);
        }
    }

    #[test]
    fn one_line_at_speed_takes_longer_than_its_length_over_its_speed() {
        // check value M05 (computed): an 85 mm line at 100 mm/s, a = 500 mm/s², takes 1.25 s.
        let t = rest_to_rest(85.0 + 2.0 * ramp_mm(100.0, 500.0), 100.0, 500.0);
        assert!((t - 1.25).abs() < 1e-9, "{t}");
    }

    /// Steps through a move in small time slices, accelerating while there is way left to brake.
    fn stepped(length: f64, speed: f64, a: f64) -> f64 {
        // Braking starts up to one slice late, which leaves a speed of about √(2 a v dt) at the end.
        let dt = 1e-7;
        let (mut x, mut v, mut t) = (0.0, 0.0f64, 0.0);
        while x < length {
            let can_brake = v * v / (2.0 * a) < length - x;
            let before = v;
            v = if can_brake { (v + a * dt).min(speed) } else { (v - a * dt).max(1e-3) };
            x += 0.5 * (before + v) * dt;
            t += dt;
        }
        t
    }

    #[test]
    fn times_agree_with_a_step_by_step_integration() {
        for (l, v, a) in
            [(85.0, 100.0, 500.0), (0.0836, 150.0, 500.0), (3.0, 20.0, 400.0), (12.0, 200.0, 3000.0)]
        {
            let (t, s) = (rest_to_rest(l, v, a), stepped(l, v, a));
            assert!((t - s).abs() < 1e-4 * t + 2e-4, "{l} {v} {a}: {t} {s}");
        }
    }

    #[test]
    fn the_extra_dose_at_an_edge_agrees_with_a_step_by_step_integration() {
        let (v, a) = (100.0, 500.0);
        for (run_up, over) in [(0.0, 0.5), (2.0, 0.2), (9.9, 0.5), (4.0, 20.0)] {
            // Time spent over the first `over` mm beyond the run-up, in slices of way.
            let n = 200_000;
            let dx = over / n as f64;
            let time: f64 = (0..n).map(|i| dx / speed_at(run_up + (i as f64 + 0.5) * dx, 1e9, v, a)).sum();
            let extra = time * v / over - 1.0;
            let said = edge_extra_dose(v, a, run_up, over);
            assert!((said - extra).abs() < 2e-3 * extra.max(0.01), "{run_up} {over}: {said} {extra}");
        }
        assert_eq!(edge_extra_dose(v, a, 10.0, 0.1), 0.0);
        assert!((edge_extra_dose(v, a, 2.5, 0.0) - 1.0).abs() < 1e-12);
        assert!(edge_extra_dose(v, a, 0.0, 0.0).is_infinite());
    }

    #[test]
    fn a_hurried_gap_agrees_with_a_step_by_step_integration() {
        for (l, v, top, a) in [
            (0.0875, 12.5, 100.0, 500.0),
            (5.0, 12.5, 100.0, 500.0),
            (30.0, 12.5, 50.0, 500.0),
            (2.0, 60.0, 61.0, 3000.0),
        ] {
            // Speeds up as long as there is way left to brake to `v`, in slices of time.
            let dt = 1e-7;
            let (mut x, mut speed, mut t): (f64, f64, f64) = (0.0, v, 0.0);
            while x < l {
                let before = speed;
                let brakes = (speed * speed - v * v) / (2.0 * a) >= l - x;
                speed = if brakes { (speed - a * dt).max(v) } else { (speed + a * dt).min(top) };
                x += 0.5 * (before + speed) * dt;
                t += dt;
            }
            let said = hurried(l, v, top, a);
            assert!((said - t).abs() < 1e-4 * t, "{l} {v}: {said} {t}");
            assert!(said < l / v);
        }
    }

    #[test]
    fn a_skip_pays_exactly_from_its_break_even() {
        let (v, u, a) = (12.5, 150.0, 500.0);
        let r = ramp_mm(v, a) + 0.5;
        let gap = skip_from(|g| g / v, v, u, a, (r, r)).unwrap();
        let line = |g: f64| rest_to_rest(20.0 + g + 2.0 * r, v, a);
        let skipped = |g: f64| 2.0 * rest_to_rest(10.0 + 2.0 * r, v, a) + rest_to_rest(g - 2.0 * r, u, a);
        assert!((line(gap) - skipped(gap)).abs() < 1e-6, "{gap}");
        assert!(line(gap + 1.0) > skipped(gap + 1.0) && line(gap - 0.3) < skipped(gap - 0.3));
        assert_eq!(skip_from(|g| g / v, 150.0, 150.0, a, (r, r)), None);
    }
}

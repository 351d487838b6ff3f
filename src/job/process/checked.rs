//! What a process file may say: values that something measures to, and at least one of them.

use super::{Best, ExposureAt, MeasuredValue, PatchRecord, ProcessFile};
use crate::job::file::{Absurd, unless};
use crate::texts::text;
use crate::units::Mm;

/// One standard deviation cannot be below zero.
fn sigma<T>(key: &'static str, value: &Option<MeasuredValue<T>>) -> Result<(), Absurd> {
    let sigma = value.as_ref().and_then(|m| m.sigma).unwrap_or(0.0);
    unless(sigma >= 0.0, key, text!("job.measured.sigma", sigma))
}

impl Best {
    /// Refuses a setting that no machine has; `key` is the table that holds it.
    fn check(&self, key: &'static str) -> Result<(), Absurd> {
        let (power, speed, pitch) = (self.power.0, self.speed.0, self.pitch.0);
        let power_is_one = power > 0.0 && power <= 1.0;
        unless(power_is_one, key, text!("job.setting.power", power = self.power))?;
        let speed_is_one = speed > 0.0 && speed <= 10_000.0;
        unless(speed_is_one, key, text!("job.setting.speed", speed = self.speed))?;
        unless((0.005..=5.0).contains(&pitch), key, text!("job.setting.pitch", pitch = self.pitch))?;
        let why = text!("job.setting.passes", passes = self.passes);
        unless((1..=20).contains(&self.passes), key, why)
    }
}

impl ProcessFile {
    /// Whether nothing in it was measured or stated: then it changes nothing, and whoever names it is misled.
    pub fn says_nothing(&self) -> bool {
        let named = ProcessFile {
            wedge: String::new(),
            date: String::new(),
            machine: String::new(),
            coating: String::new(),
            rated_power: None,
            absolute_lightness: false,
            not_measured: Default::default(),
            ..self.clone()
        };
        named == ProcessFile::default()
    }

    fn check_sigmas(&self) -> Result<(), Absurd> {
        sigma("beam_along", &self.beam_along)?;
        sigma("beam_across", &self.beam_across)?;
        sigma("unmarked", &self.unmarked)?;
        sigma("marked", &self.marked)?;
        sigma("charred", &self.charred)?;
        sigma("x_half", &self.x_half)?;
        sigma("rise", &self.rise)?;
        sigma("x_char", &self.x_char)?;
        sigma("char_rise", &self.char_rise)?;
        sigma("schwarzschild", &self.schwarzschild)?;
        sigma("lag_ms", &self.lag_ms)
    }

    /// Refuses values that nothing measures to, naming the key.
    ///
    /// # Errors
    /// The first value that is out of its range, or a mark that is as light as the bare coating.
    pub fn check(&self) -> Result<(), Absurd> {
        self.check_sigmas()?;
        if let Some(best) = &self.best {
            best.check("best")?;
        }
        for setting in self.tone_curve.iter().filter_map(|c| c.setting.as_ref()) {
            setting.check("setting")?;
        }
        if let Some(m) = &self.lag_ms {
            let why = text!("job.measured.lag", value = m.value);
            unless((-50.0..=50.0).contains(&m.value), "lag_ms", why)?;
        }
        let looks = [("unmarked", &self.unmarked), ("marked", &self.marked), ("charred", &self.charred)];
        for (key, v) in looks {
            if let Some(m) = v {
                unless((0.0..=1.0).contains(&m.value), key, text!("job.must.luminance", value = m.value))?;
            }
        }
        if let (Some(a), Some(b)) = (&self.unmarked, &self.marked) {
            unless((a.value - b.value).abs() >= 0.02, "marked", text!("job.measured.looks-alike"))?;
        }
        for (key, v) in [("rise", &self.rise), ("char_rise", &self.char_rise)] {
            if let Some(m) = v {
                let why = text!("job.measured.rises", value = m.value);
                unless((0.5..=50.0).contains(&m.value), key, why)?;
            }
        }
        if let Some(b) = &self.beam_fitted {
            let sound = |mm: Mm| mm.0 > 0.0 && mm.0 <= 5.0;
            unless(
                sound(b.along) && sound(b.across),
                "beam_fitted",
                text!("job.must.above-to", low = "0 mm", high = "5 mm"),
            )?;
        }
        if let Some(m) = &self.x_half {
            unless(m.value != ExposureAt::Never, "x_half", text!("job.measured.never"))?;
        }
        if let Some(m) = &self.schwarzschild {
            unless(
                (0.3..=1.5).contains(&m.value),
                "schwarzschild",
                text!("job.must.from-to", low = 0.3, high = 1.5),
            )?;
        }
        if let Some(v) = &self.v0 {
            unless(v.0 > 0.0, "v0", text!("job.must.above", low = "0 mm/s"))?;
        }
        for s in &self.sheet {
            let within = s.patch.len() <= 500
                && (0.0..=1.0).contains(&s.y_unmarked)
                && s.pitch_along.0 > 0.0
                && s.pitch_across.0 > 0.0;
            unless(within, "sheet", text!("job.measured.sheet"))?;
            let sound = |p: &PatchRecord| {
                let positive = |v: f64| v > 0.0 && v.is_finite();
                positive(p.dose_j_mm2)
                    && positive(p.speed.0)
                    && (0.0..=200.0).contains(&p.lightness)
                    && (0.0..=200.0).contains(&p.sigma)
                    && p.period <= 64
            };
            unless(s.patch.iter().all(sound), "patch", text!("job.measured.patch"))?;
        }
        for c in &self.tone_curve {
            let n = c.coverage.len();
            unless(n >= 2 && n == c.mark.len(), "coverage", text!("job.tone-curve.count"))?;
            let within = |v: &[f64]| v.iter().all(|x| (0.0..=1.0).contains(x));
            unless(within(&c.coverage), "coverage", text!("job.tone-curve.range"))?;
            unless(within(&c.mark), "mark", text!("job.tone-curve.range"))?;
            unless(c.coverage.windows(2).all(|w| w[1] > w[0]), "coverage", text!("job.tone-curve.rises"))?;
            unless(c.mark.windows(2).all(|w| w[1] >= w[0]), "mark", text!("job.tone-curve.falls"))?;
            unless(c.mark.last().is_some_and(|m| *m > 0.0), "mark", text!("job.tone-curve.end"))?;
            unless(
                c.sigma.is_empty() || (c.sigma.len() == n && c.sigma.iter().all(|s| (0.0..=1.0).contains(s))),
                "sigma",
                text!("job.tone-curve.sigma"),
            )?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(text: &str) -> String {
        let file: ProcessFile = toml::from_str(text).unwrap();
        file.check().map_or_else(|wrong| format!("{} {}", wrong.key, wrong.why), |()| String::new())
    }

    #[test]
    fn what_no_machine_and_no_measurement_has_is_refused_with_its_key() {
        let best = |changed: &str| {
            let mut lines = vec!["power = '80%'", "speed = '12.5mm/s'", "pitch = '0.1mm'", "passes = 1"];
            let key = changed.split(' ').next().unwrap();
            lines.retain(|line| !line.starts_with(key));
            lines.push(changed);
            said(&format!("[best]\n{}\n", lines.join("\n")))
        };
        assert_eq!(best("passes = 2"), "");
        assert!(best("pitch = '0mm'").starts_with("best has a pitch of 0mm"));
        assert!(best("speed = '0mm/s'").starts_with("best has a speed of 0mm/s"));
        assert!(best("passes = 0").starts_with("best has 0 passes"));
        assert!(best("power = '0%'").starts_with("best has a power of 0%"));
        let negative = said("x_half = { value = '2J/mm2', sigma = -0.1 }");
        assert_eq!(negative, "x_half has a sigma of -0.1; a standard deviation is 0 or more");
        assert!(said("lag_ms = { value = 80.0 }").starts_with("lag_ms is 80"));
    }

    #[test]
    fn a_file_that_says_nothing_is_known_as_such() {
        let file = |text: &str| toml::from_str::<ProcessFile>(text).unwrap();
        assert!(file("").says_nothing() && file("wedge = 'W1'\ndate = '2026-11-25'").says_nothing());
        assert!(!file("v0 = '10mm/s'").says_nothing());
        assert!(!file("doubt = 'the photo is blurred'").says_nothing());
    }
}

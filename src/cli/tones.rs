//! Tones: versions of a job that differ in lightness and contrast, for a person to choose by looking.

use crate::job::Job;
use crate::job::words::Nudge;

/// How far one version is from the next: plain to see, and none of them spoiled.
const STEP: f64 = 0.25;

/// One version.
pub struct Version {
    /// What it is called.
    pub name: String,
    /// The job with it.
    pub job: Job,
}

/// The job as it is, then lighter, darker, harder and softer, and both at once.
pub fn versions(job: &Job) -> Vec<Version> {
    let asked = |n: Option<Nudge>| n.map_or(0.0, |n| n.0);
    let (lightness, contrast) = (asked(job.tone.brighten), asked(job.tone.contrast));
    let moved = |from: f64, steps: f64| (from + steps * STEP).clamp(-1.0, 1.0);
    [
        ("as it is", 0.0, 0.0),
        ("lighter", 1.0, 0.0),
        ("darker", -1.0, 0.0),
        ("more contrast", 0.0, 1.0),
        ("less contrast", 0.0, -1.0),
        ("lighter, more contrast", 1.0, 1.0),
        ("darker, more contrast", -1.0, 1.0),
        ("lighter, less contrast", 1.0, -1.0),
    ]
    .into_iter()
    .map(|(name, up, hard)| {
        let (b, c) = (moved(lightness, up), moved(contrast, hard));
        let mut job = job.clone();
        let nudge = |v: f64| (v != 0.0).then_some(Nudge(v));
        (job.tone.brighten, job.tone.contrast) = (nudge(b), nudge(c));
        Version { name: format!("{name}{}", options(b, c)), job }
    })
    .collect()
}

/// What to say on the line for it: `: --brighten 25 --contrast 25`.
fn options(brighten: f64, contrast: f64) -> String {
    let said = [("--brighten", brighten), ("--contrast", contrast)];
    let words: Vec<String> =
        said.iter().filter(|(_, v)| *v != 0.0).map(|(o, v)| format!("{o} {}", (v * 100.0).round())).collect();
    if words.is_empty() { String::new() } else { format!(": {}", words.join(" ")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn versions_start_from_what_was_asked_and_say_how_to_get_them() {
        let mut job = Job::default();
        job.tone.brighten = Some(Nudge(0.9));
        let all = versions(&job);
        let names: Vec<&str> = all.iter().map(|v| v.name.as_str()).collect();
        assert_eq!(names[0], "as it is: --brighten 90");
        // The range ends at 100.
        assert_eq!(names[1], "lighter: --brighten 100");
        assert_eq!(names[6], "darker, more contrast: --brighten 65 --contrast 25");
        assert_eq!(versions(&Job::default())[0].name, "as it is");
        let mut seen = names.clone();
        seen.dedup();
        assert_eq!(seen.len(), 8);
    }
}

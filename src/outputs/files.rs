//! The files of a job: what each is called, what it is, and when a job has it.

use crate::encode::sink::Files;
use crate::job::Plan;
use crate::pipeline::Outcome;
use crate::proof::report::FileFacts;
use crate::said::Said;
use crate::scan::outline;
use crate::texts::text;

/// What decides which files a job has.
#[derive(Debug, Clone, Copy)]
pub struct Case<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// What became of it.
    pub outcome: &'a Outcome,
    /// The place that is to be shown large, mm from the blank's lower left corner.
    pub loupe_at: Option<(f64, f64)>,
}

/// A file of a job.
#[derive(Debug)]
pub struct JobFile {
    /// What it is called.
    pub name: &'static str,
    about: fn(&Plan) -> Said,
    when: fn(&Case<'_>) -> bool,
}

impl JobFile {
    /// What it is of this plan.
    pub fn about(&self, plan: &Plan) -> Said {
        (self.about)(plan)
    }

    /// Whether such a job has it.
    pub fn is_of(&self, case: &Case<'_>) -> bool {
        (self.when)(case)
    }

    /// The same for a report, where it has so many bytes.
    pub(super) fn facts(&self, plan: &Plan, bytes: Option<u64>) -> FileFacts {
        FileFacts { name: self.name.into(), bytes, about: self.about(plan).to_string() }
    }
}

/// The page for the workbench.
pub(super) const TICKET: JobFile = JobFile {
    name: "ticket.html",
    about: |_| Said::two(text!("outputs.file.ticket.beside"), text!("outputs.file.ticket")),
    when: |_| true,
};
/// What the machine runs.
pub(super) const PROGRAM: JobFile = JobFile {
    name: "program.nc",
    about: |_| text!("outputs.file.program").into(),
    when: |case| !case.outcome.is_stopped(case.plan),
};
/// The walk before it.
pub(super) const OUTLINE: JobFile = JobFile {
    name: "outline.nc",
    about: |plan| outline::about(&plan.blank.shape).into(),
    when: |case| !case.outcome.is_stopped(case.plan),
};
/// The forecast.
pub(super) const FORECAST: JobFile =
    JobFile { name: "proof.png", about: |_| text!("outputs.file.forecast").into(), when: |_| true };
/// The forecast of a round piece.
pub(super) const ROUND: JobFile = JobFile {
    name: "round.png",
    about: |_| text!("outputs.file.round").into(),
    when: |case| case.plan.blank.shape.turned().is_some(),
};
/// The mantle of a cone.
pub(super) const CUT: JobFile = JobFile {
    name: "cut.svg",
    about: |_| text!("outputs.file.cut").into(),
    when: |case| case.plan.blank.shape.turned().is_some_and(|mantle| mantle.is_cone()),
};
/// The picture for whoever ordered the piece.
pub(super) const CUSTOMER: JobFile = JobFile {
    name: "customer.png",
    about: |_| text!("outputs.file.customer").into(),
    when: |case| case.outcome.original.is_some(),
};
/// The density of the dots.
pub(super) const DENSITY: JobFile =
    JobFile { name: "density.png", about: |_| text!("outputs.file.density").into(), when: |_| true };
/// One place large.
pub(super) const LOUPE: JobFile = JobFile {
    name: "loupe.png",
    about: |_| text!("outputs.file.loupe").into(),
    when: |case| case.loupe_at.is_some(),
};
/// Both readings of the art.
pub(super) const READINGS: JobFile = JobFile {
    name: "readings.png",
    about: |_| text!("outputs.file.readings").into(),
    when: |case| case.outcome.readings.is_some(),
};
/// The dots.
pub(super) const PNG: JobFile = JobFile { name: "dots.png", about: dots, when: |_| true };
/// The same for those who want TIFF.
pub(super) const TIFF: JobFile =
    JobFile { name: "dots.tiff", about: dots, when: |case| case.plan.dots.tiff.is_some() };
/// The same for those who want BMP.
pub(super) const BMP: JobFile = JobFile { name: "dots.bmp", about: dots, when: |case| case.plan.dots.bmp };
/// The job.
pub(super) const JOB_FILE: JobFile = JobFile {
    name: "job.toml",
    about: |_| Said::from(text!("outputs.file.job")).page(text!("outputs.file.job.zip")),
    when: |_| true,
};
/// The report.
pub(super) const REPORT: JobFile =
    JobFile { name: "report.json", about: |_| text!("outputs.file.report").into(), when: |_| true };

fn dots(plan: &Plan) -> Said {
    text!("outputs.file.dots", beam_on = plan.dots.beam_on).into()
}

/// All of them, in the order in which a maker looks for them.
pub const FILES: [&JobFile; 15] = [
    &TICKET, &PROGRAM, &OUTLINE, &FORECAST, &ROUND, &CUT, &CUSTOMER, &DENSITY, &LOUPE, &READINGS, &PNG,
    &TIFF, &BMP, &JOB_FILE, &REPORT,
];

const fn names<const N: usize>(files: [&JobFile; N]) -> [&'static str; N] {
    let mut names = [""; N];
    let mut i = 0;
    while i < N {
        names[i] = files[i].name;
        i += 1;
    }
    names
}

/// The files of a job carried through.
pub const JOB: Files = Files { names: &names(FILES), never_beside: &[("wedge.toml", "a wedge")] };

/// The files of dots that were only judged.
pub const PROOF: Files =
    Files { names: &names([&FORECAST, &ROUND, &CUT, &DENSITY, &LOUPE, &REPORT]), never_beside: &[] };

#[cfg(test)]
mod tests {
    use super::*;
    use crate::encode::sink::Memory;
    use crate::job::Job;
    use crate::job::asked::Reference;
    use crate::progress::Silent;
    use crate::{art, outputs, pipeline};

    /// The third is stopped: so slowly its paint chars.
    #[test]
    fn a_job_has_the_files_that_are_listed_of_it() {
        let svg = br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 8 8"><circle cx="4" cy="4" r="4"/></svg>"#;
        let art = art::open(svg, "'buoy.svg'").unwrap();
        let flat = "blank = { shape = 'rect:12x12mm', margin = '1mm', place = '8x8mm' }";
        let cone = "blank = { shape = 'cone:20x26x20mm', margin = '4mm', place = '8x8mm' }";
        for (blank, more, loupe_at, has) in [
            (flat, "", None, "program.nc"),
            (flat, "dots = { tiff = 'group4', bmp = true }", None, "dots.bmp"),
            (flat, "burn = { speed = '1mm/s' }", Some((6.0, 6.0)), "loupe.png"),
            (cone, "", None, "cut.svg"),
        ] {
            let mut job: Job = format!("{blank}\n{more}").parse().unwrap();
            if blank == cone {
                let turner = toml::from_str(include_str!("../../samples/turner.toml")).unwrap();
                job.machine = Some(Reference::Whole(turner));
            }
            let plan = Plan::of(&job).unwrap();
            let outcome = pipeline::run(&plan, &art, "buoy.svg", &Silent).unwrap();
            let mut output = Memory::default();
            let report = outputs::write(&plan, &outcome, loupe_at, &mut output, &Silent).unwrap();
            let case = Case { plan: &plan, outcome: &outcome, loupe_at };
            let mut written: Vec<&str> = output.files.iter().map(|(name, _)| name.as_str()).collect();
            let mut told: Vec<&str> = report.files.iter().map(|f| f.name.as_str()).collect();
            let mut listed: Vec<&str> = FILES.iter().filter(|f| f.is_of(&case)).map(|f| f.name).collect();
            for names in [&mut written, &mut told, &mut listed] {
                names.sort_unstable();
            }
            assert!(written == listed && told == listed, "{written:?} {told:?} {listed:?}");
            assert!(
                written.contains(&has) && written.contains(&"program.nc") == loupe_at.is_none(),
                "{written:?}"
            );
        }
    }

    #[test]
    fn each_has_its_name_in_the_readme() {
        let readme = include_str!("../../README.md");
        let table = readme.split_once("## What `prepare` writes").unwrap().1.split("\n## ").next().unwrap();
        for file in FILES {
            assert!(table.contains(&format!("`{}`", file.name)), "{}", file.name);
        }
    }
}

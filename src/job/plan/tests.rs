use super::*;
use crate::job::asked::{BlankJob, BurnJob, DotsJob, Reference, ScanJob};
use crate::job::process::{BeamSize, ProcessFile};
use crate::job::rotary::Rotary;
use crate::job::{Brief, Standing, kit};
use crate::mark::beam::Profile;
use crate::note::About;
use crate::placement::Along;
use crate::units::{MmPerS, Pitch, Share, Watts};

#[test]
fn an_empty_job_becomes_a_plan_that_says_what_it_assumed() {
    let plan = resolve(&Job::default()).unwrap();
    assert_eq!(plan.blank.shape.to_string(), "rect:100x100mm");
    assert_eq!(
        (plan.grid.along, plan.grid.across),
        (Mm(0.04375), Mm(0.0875)),
        "auto switches at half a line pitch"
    );
    assert_eq!(plan.dots.options.switches, 2);
    let unsure = plan.dots.options.unsure;
    assert_eq!((unsure.beam, unsure.exposure), (0.1, 0.1), "nothing is measured");
    assert!(plan.pitch_why.contains("7 motor steps"), "{}", plan.pitch_why);
    assert_eq!(plan.process.speed.value, MmPerS(12.5));
    assert_eq!(plan.assumptions.len(), 4, "{:?}", plan.assumptions);
    assert_eq!(plan.process.assumed().len(), 5);
}

#[test]
fn what_can_be_decided_otherwise_names_its_option_on_the_command_line_alone() {
    let job: Job = "blank.shape = 'round:80mm'\nscan.trim = '0.5mm'".parse().unwrap();
    let plan = resolve(&job).unwrap();
    let surface = plan.assumptions.iter().find(|note| note.about == About::Surface).unwrap();
    assert_eq!(surface.says, "the blank is glass; say --surface, or a blank of the kit, where it is not");
    assert_eq!(surface.says.on_page(), "the blank is glass");
    let trimmed = plan.notes.iter().find(|note| note.about == About::Choice).unwrap();
    assert!(trimmed.says.contains(", not by the 0.5mm of --trim: two fifths of a dot"), "{trimmed:?}");
    assert!(trimmed.says.on_page().contains(", not by the 0.5mm that was asked for: two"), "{trimmed:?}");
}

#[test]
fn a_written_out_job_gives_the_same_plan() {
    let plan = resolve(&Job::default()).unwrap();
    let text = plan.job.to_toml().unwrap();
    let job: Job = toml::from_str(&text).unwrap();
    assert_eq!(job, plan.job);
    let again = resolve(&job).unwrap();
    assert_eq!(again.job, plan.job);
    assert_eq!(again.process, plan.process);
    assert_eq!(again.assumptions, plan.assumptions);
    assert_eq!(again.burn, plan.burn);
}

#[test]
fn what_the_line_says_overrides_the_job_and_is_given() {
    let base = resolve(&Job::default()).unwrap().job.clone();
    let burn = BurnJob { power: Some(Share(0.5)), ..BurnJob::default() };
    let plan = resolve(&Job { burn, ..Job::default() }.over(base)).unwrap();
    assert_eq!(plan.process.power.value, Share(0.5));
    assert_eq!(plan.process.power.standing, Standing::Given);
    assert_eq!(plan.process.speed.standing, Standing::Assumed);
}

#[test]
fn one_pass_is_given_only_where_somebody_asked_for_it() {
    let usual = resolve(&Job::default()).unwrap();
    let passes = |plan: &Plan| (plan.process.passes.value, plan.process.passes.standing);
    assert_eq!(passes(&usual), (1, Standing::Assumed));
    let asked =
        |passes| Job { burn: BurnJob { passes: Some(passes), ..BurnJob::default() }, ..Job::default() };
    assert_eq!(passes(&resolve(&asked(1)).unwrap()), (1, Standing::Given));
    let again = usual.job.clone();
    assert_eq!(passes(&resolve(&again).unwrap()), (1, Standing::Assumed));
    assert_eq!(passes(&resolve(&asked(2).over(again.clone())).unwrap()), (2, Standing::Given));
    // What was filled in goes with the setting that a wedge found.
    let best =
        crate::job::process::Best { power: Share(0.8), speed: MmPerS(20.0), pitch: Mm(0.0875), passes: 3 };
    let file = ProcessFile { wedge: "W1".into(), best: Some(best), ..ProcessFile::default() };
    let measured = Job { process: Some(Reference::Whole(Box::new(file))), ..Job::default() };
    assert_eq!(passes(&resolve(&measured.over(again)).unwrap()), (3, Standing::Measured));
}

#[test]
fn what_a_process_filled_in_goes_with_it() {
    let best =
        crate::job::process::Best { power: Share(0.8), speed: MmPerS(12.5), pitch: Mm(0.11), passes: 1 };
    let file: ProcessFile = toml::from_str(
        "wedge = 'W1'\nmachine = 'diode 5 W'\ncoating = 'poster paint'\nrated_power = '5W'\nlag_ms = { value = 0.4 }\n",
    )
    .unwrap();
    let file = ProcessFile { best: Some(best), ..file };
    let measured = Job { process: Some(Reference::Whole(Box::new(file))), ..Job::default() };
    let before = resolve(&measured).unwrap();
    let set = |plan: &Plan| {
        let p = &plan.process;
        (p.power.value, p.speed.value, p.pitch_across.value, plan.machine.motion.lag_ms)
    };
    assert_eq!(set(&before), (Share(0.8), MmPerS(12.5), Mm(0.11), 0.4));
    // Written back it gives the same, as long as the process holds.
    assert_eq!(set(&resolve(&before.job).unwrap()), set(&before));
    let of = |name: &str, watts: f64| {
        let Some(Reference::Whole(machine)) = before.job.machine.clone() else { unreachable!() };
        let mut machine = *machine;
        (machine.name, machine.laser.power) = (name.into(), Watts(watts));
        let plain = Job { machine: Some(Reference::Whole(Box::new(machine.clone()))), ..Job::default() };
        let kept = Job { machine: Some(Reference::Whole(Box::new(machine))), ..before.job.clone() };
        (set(&resolve(&kept).unwrap()), set(&resolve(&plain).unwrap()))
    };
    for (name, watts) in [("other bench", 5.0), ("diode 5 W", 10.0)] {
        let (kept, plain) = of(name, watts);
        assert_eq!(kept, plain, "{name}");
        assert_eq!(kept.3, 0.0);
    }
}

#[test]
fn impossible_jobs_say_what_is_wrong() {
    let blank = |shape: &str, margin: f64| Job {
        blank: BlankJob {
            shape: Some(shape.parse().unwrap()),
            margin: Some(Mm(margin)),
            ..BlankJob::default()
        },
        ..Job::default()
    };
    let screen = |name: &str| Job {
        dots: DotsJob { screen: Some(name.into()), ..DotsJob::default() },
        ..Job::default()
    };
    let speed =
        |v: f64| Job { burn: BurnJob { speed: Some(MmPerS(v)), ..BurnJob::default() }, ..Job::default() };
    for (job, part) in [
        (blank("round:4mm", 2.5), "smaller than its margins"),
        (screen("treshold"), "did you mean threshold?"),
        (speed(900.0), "marks at up to 100mm/s"),
        (Job { machine: Some(Reference::Name("diode-7w".into())), ..Job::default() }, "there is no machine"),
    ] {
        let e = resolve(&job).unwrap_err().to_string();
        assert!(e.contains(part), "{e}");
    }
}

#[test]
fn a_process_file_can_state_the_plain_model() {
    let p: ProcessFile = toml::from_str(
        "beam_along = { value = '1.5pitch' }\nbeam_across = { value = '1.5pitch' }\nunmarked = { value = 0 }\n\
         marked = { value = 1 }\ncharred = { value = 0 }\nx_half = { value = '0.5solid' }\nrise = { value = 6.25 }\n\
         x_char = { value = 'never' }\n",
    )
    .unwrap();
    let plan = resolve(&Job { process: Some(Reference::Whole(Box::new(p))), ..Job::default() }).unwrap();
    let plain = Burn::plain(1.5, 1.5);
    for e in [0.1, 0.4, 0.5, 0.8, 1.3] {
        assert!((plan.burn.mark(e) - plain.mark(e)).abs() < 1e-12);
        assert_eq!(plan.burn.char(e), 0.0);
    }
    // The beam is stated in line pitches, of which a dot is half.
    assert!((plan.burn.along - 3.0).abs() < 1e-12 && (plan.burn.across - 1.5).abs() < 1e-12);
    assert!(plan.dots.options.unsure.is_none(), "what is stated without a deviation is known");
    assert_eq!(plan.process.beam.standing, Standing::Given);
}

#[test]
fn a_change_is_settled_as_if_it_had_been_asked_for() {
    let plan = resolve(&Job::default()).unwrap();
    let asked = |change: Job| resolve(&change.over(plan.job.clone())).unwrap();
    let weaker = plan.with(Change::Power(Watts(3.0))).unwrap();
    let burn = BurnJob { power: Some(Share(0.6)), ..BurnJob::default() };
    assert_eq!(weaker.job, asked(Job { burn, ..Job::default() }).job);
    assert!((weaker.burn.x_solid - plan.burn.x_solid / 0.9 * 0.6).abs() < 1e-12);
    let wider = plan.with(Change::Pitch(Mm(0.1))).unwrap();
    assert!((wider.grid.along.0 - 0.05).abs() < 1e-12 && wider.grid.across == Mm(0.1));
    assert_eq!(
        wider.process.speed.value, plan.process.speed.value,
        "the speed is that of the plan, not a new start"
    );
    let held = plan.with(Change::Ceiling(Share(0.8))).unwrap();
    assert_eq!((held.tone.ceiling, held.burn), (Share(0.8), plan.burn));
    assert!(plan.with(Change::Speed(MmPerS(900.0))).is_err());
}

#[test]
fn a_start_that_is_kept_at_another_power_is_not_called_the_start_of_that_power() {
    let first = resolve(&Job::default()).unwrap();
    let again = |burn| resolve(&Job { burn, ..Job::default() }.over(first.job.clone())).unwrap();
    let same = again(BurnJob::default());
    assert_eq!(same.process.speed, first.process.speed);
    let weaker = again(BurnJob { power: Some(Share(0.6)), ..BurnJob::default() });
    assert_eq!(weaker.process.speed.value, first.process.speed.value);
    assert_eq!(weaker.process.speed.standing, Standing::Assumed);
    assert_eq!(weaker.process.speed.source, "filled in by an earlier run of the job, and kept");
}

#[test]
fn a_response_stated_by_solids_follows_the_setting() {
    let p: ProcessFile = toml::from_str("x_half = { value = '0.5solid' }\n").unwrap();
    let plan = resolve(&Job { process: Some(Reference::Whole(Box::new(p))), ..Job::default() }).unwrap();
    let weaker = plan.with(Change::Power(Watts(2.0))).unwrap();
    let half = |plan: &Plan| plan.process.rise.value.0 / plan.burn.x_solid;
    assert!((half(&plan) - 0.5).abs() < 1e-12 && (half(&weaker) - 0.5).abs() < 1e-12);
}

#[test]
fn art_that_has_changed_is_noticed_unless_other_art_was_named() {
    let file = |crc32| ArtFile { name: "ship.png".into(), path: "../ship.png".into(), crc32 };
    let mut brief = Brief::read(Job::default()).unwrap();
    brief.art = Some(file(7));
    let first = brief.settle().unwrap();
    assert_eq!((first.job.art.crc32, first.job.art.file.as_deref()), (Some(7), Some("../ship.png")));
    assert!(first.changed.is_empty());
    let again = |line: Job, crc32| {
        let mut brief = Brief::read(line.over(first.job.clone())).unwrap();
        brief.art = Some(file(crc32));
        brief.settle().unwrap()
    };
    assert!(again(Job::default(), 7).changed.is_empty());
    assert_eq!(again(Job::default(), 8).changed, ["ship.png"]);
    let mut other = Job::default();
    other.art.file = Some("lighthouse.png".into());
    assert!(again(other, 8).changed.is_empty());
}

#[test]
fn lines_along_y_suit_the_other_axis() {
    let mut machine = kit::machine("diode-5w").unwrap();
    machine.laser.beam_along = Mm(0.18);
    machine.motion.steps_per_mm_x = 50.0;
    machine.motion.top_speed_y = Some(MmPerS(20.0));
    let job = Job {
        machine: Some(Reference::Whole(Box::new(machine))),
        scan: ScanJob { axis: Some(Along::Y), ..ScanJob::default() },
        ..Job::default()
    };
    let plan = resolve(&job).unwrap();
    // 0.7 of the beam of 0.12 mm across is 4.2 steps of 1/50 mm along x: four of them.
    // Along y the beam is switched every half of that.
    assert_eq!((plan.grid.along, plan.grid.across), (Mm(0.08), Mm(0.04)));
    assert_eq!((plan.dots.options.switches, plan.switched()), (2, (1, 2)));
    assert!(plan.pitch_why.contains("4 motor steps"), "{}", plan.pitch_why);
    // A dot is swept along y, where the beam is wider; the light falls off across it along x.
    assert_eq!(plan.burn.profiles(), (Profile::Stamped(0.12 / 0.08), Profile::Swept(0.18 / 0.04)));
    let narrow =
        Job { dots: DotsJob { pitch_across: Pitch::from_mm(0.1), ..DotsJob::default() }, ..job.clone() };
    let plan = resolve(&narrow).unwrap();
    assert_eq!((plan.grid.along, plan.grid.across), (Mm(0.1), Mm(0.08)));
    assert_eq!(resolve(&plan.job).unwrap().grid, plan.grid);
    let fast = Job { burn: BurnJob { speed: Some(MmPerS(30.0)), ..BurnJob::default() }, ..job };
    let e = resolve(&fast).unwrap_err().to_string();
    assert!(e.contains("marks at up to 20mm/s"), "{e}");
}

#[test]
fn the_beam_switches_finer_only_where_the_screen_searches_and_nobody_asked_for_a_pitch() {
    let grid = |job: Job| {
        let plan = resolve(&job).unwrap();
        (plan.grid.along.0, plan.grid.across.0)
    };
    let dots = |dots: DotsJob| Job { dots, ..Job::default() };
    let screen = |name: &str| DotsJob { screen: Some(name.into()), ..DotsJob::default() };
    assert_eq!(grid(dots(screen("fitted"))), (0.04375, 0.0875));
    assert_eq!(grid(dots(screen("floyd-steinberg"))), (0.0875, 0.0875));
    let asked = DotsJob { pitch: Pitch::from_mm(0.1), ..DotsJob::default() };
    assert_eq!(grid(dots(asked)), (0.1, 0.1), "a pitch that is asked for is kept");
    let fast = BurnJob { speed: Some(MmPerS(99.0)), ..BurnJob::default() };
    assert_eq!(grid(Job { burn: fast, ..Job::default() }).0, 0.0875, "the laser takes 0.1 ms to come on");
    // What was filled in follows the screen of the next run.
    let kept = resolve(&Job::default()).unwrap().job.clone();
    let next = dots(screen("floyd-steinberg")).over(kept.clone());
    assert_eq!(grid(next), (0.0875, 0.0875));
    // One that is asked for now is that across the lines too, unless that was asked for by itself.
    let asked = |across| DotsJob { pitch: Pitch::from_mm(0.1), pitch_across: across, ..DotsJob::default() };
    let wider = resolve(&dots(asked(None)).over(kept.clone())).unwrap().job.clone();
    assert_eq!((grid(wider.clone()), grid(dots(asked(None)).over(wider))), ((0.1, 0.1), (0.1, 0.1)));
    let apart = resolve(&dots(asked(Pitch::from_mm(0.12)))).unwrap().job.clone();
    assert_eq!(grid(dots(asked(None)).over(apart)), (0.1, 0.12));
    assert_eq!(grid(kept), (0.04375, 0.0875));
}

#[test]
fn what_is_not_known_is_what_the_wedge_says() {
    let file = "beam_along = { value = '0.12mm', sigma = 0.003 }\nbeam_across = { value = '0.1mm', sigma = 0.004 }\n\
                x_half = { value = '2J/mm2', sigma = 0.05 }\nrise = { value = 6.0 }\n";
    let p: ProcessFile = toml::from_str(file).unwrap();
    let job = Job { process: Some(Reference::Whole(Box::new(p))), ..Job::default() };
    let unsure = resolve(&job).unwrap().dots.options.unsure;
    // The root mean square of 2.5 and 4 %.
    assert!(
        (unsure.beam - 0.033_354_16).abs() < 1e-7 && (unsure.exposure - 0.025).abs() < 1e-12,
        "{unsure:?}"
    );
    // Of two widths one may be said alone: 2.5 % of one, none of the other.
    let half: ProcessFile = toml::from_str(&file.replace(", sigma = 0.004", "")).unwrap();
    let half = Job { process: Some(Reference::Whole(Box::new(half))), ..Job::default() };
    let beam = resolve(&half).unwrap().dots.options.unsure.beam;
    assert!((beam - 0.025 / 2f64.sqrt()).abs() < 1e-12, "{beam}");
    let said = DotsJob { known: Some(Share(0.02)), ..DotsJob::default() };
    let unsure = resolve(&Job { dots: said, ..job }).unwrap().dots.options.unsure;
    assert_eq!((unsure.beam, unsure.exposure), (0.02, 0.02));
    let wrong = DotsJob { known: Some(Share(0.6)), ..DotsJob::default() };
    assert!(resolve(&Job { dots: wrong, ..Job::default() }).is_err());
}

#[test]
fn a_speed_that_was_measured_for_one_pass_is_scaled_to_two() {
    let best = "v0 = '12.5mm/s'\nschwarzschild = { value = 0.8 }\n\
                [best]\npower = '100%'\nspeed = '14mm/s'\npitch = '0.0875mm'\npasses = 1\n";
    let job = |wedge: &str, passes, speed| {
        let p: ProcessFile = toml::from_str(&format!("{wedge}{best}")).unwrap();
        let burn = BurnJob { passes, speed, ..BurnJob::default() };
        Job { process: Some(Reference::Whole(Box::new(p))), burn, ..Job::default() }
    };
    let wedge = "wedge = 'W000001'\n";
    let once = resolve(&job(wedge, None, None)).unwrap();
    assert_eq!((once.process.speed.value, once.process.speed.standing), (MmPerS(14.0), Standing::Measured));
    assert!(!once.notes.iter().any(|n| n.says.contains("scaled")), "{:?}", once.notes);
    // 14 · 2^(1/0.8) mm/s are 33.3, or 33.5 to the next half.
    let twice = resolve(&job(wedge, Some(2), None)).unwrap();
    let speed = &twice.process.speed;
    assert_eq!((speed.value, speed.standing), (MmPerS(33.5), Standing::Assumed));
    assert_eq!(speed.source, "wedge W000001: measured for 1 pass, scaled to 2");
    assert!((twice.burn.x_solid / once.burn.x_solid - 1.0).abs() < 0.01, "{}", twice.burn.x_solid);
    let scaled = twice.notes.iter().find(|n| n.says.contains("for 1 pass and is scaled to 2: 33.5mm/s"));
    let scaled = &scaled.unwrap().says;
    assert!(scaled.ends_with("so that all together expose as much; --speed sets another"), "{scaled}");
    assert!(scaled.on_page().ends_with("so that all together expose as much"), "{scaled:?}");
    let again = resolve(&twice.job).unwrap();
    assert_eq!((&again.process.speed, &again.notes), (speed, &twice.notes));
    // By hand it is stated, as asked it stays, and a job that is run again with more passes is settled anew.
    let stated = resolve(&job("", Some(2), None)).unwrap().process.speed.clone();
    assert!(stated.source.ends_with("stated for 1 pass, scaled to 2"), "{}", stated.source);
    let asked = resolve(&job(wedge, Some(2), Some(MmPerS(20.0)))).unwrap().process.speed.clone();
    assert_eq!((asked.value, asked.standing), (MmPerS(20.0), Standing::Given));
    let burn = BurnJob { passes: Some(2), ..BurnJob::default() };
    let more = resolve(&Job { burn, ..Job::default() }.over(once.job.clone())).unwrap();
    assert_eq!(more.process.speed.value, MmPerS(33.5));
}

#[test]
fn a_measured_beam_does_not_turn_with_the_lines() {
    let widths = "beam_along = { value = '0.14mm', sigma = 0.003 }\nbeam_across = { value = '0.1mm', sigma = 0.004 }\n";
    let plan = |wedge: &str, axis: Option<Along>, shape: &str, rotary: Option<&str>| {
        let p: ProcessFile = toml::from_str(&format!("{wedge}{widths}")).unwrap();
        let mut machine = kit::machine("diode-5w").unwrap();
        machine.rotary =
            rotary.map(|r| toml::from_str(&format!("{}\n{r}", Rotary::EXAMPLE.replace(", ", "\n"))).unwrap());
        resolve(&Job {
            process: Some(Reference::Whole(Box::new(p))),
            machine: Some(Reference::Whole(Box::new(machine))),
            scan: ScanJob { axis, ..ScanJob::default() },
            blank: BlankJob { shape: Some(shape.parse().unwrap()), ..BlankJob::default() },
            ..Job::default()
        })
        .unwrap()
    };
    let along = |plan: &Plan| (plan.process.beam.value.along.0, plan.notes.len());
    let by_wedge = "wedge = 'W000001'\n";
    // By hand: the head's own x lies along the lines, or across them; a wedge's lines run along x.
    assert_eq!(along(&plan(by_wedge, None, "round:90mm", None)), (0.14, 0));
    assert_eq!(along(&plan(by_wedge, Some(Along::Y), "round:90mm", None)), (0.1, 1));
    assert_eq!(along(&plan("", Some(Along::Y), "round:90mm", None)), (0.14, 0));
    // On a cylinder lines run along it: along x where the head follows it there, along y where it does not; round it the other way.
    let cylinder = "cylinder:73x100mm";
    assert_eq!(along(&plan(by_wedge, None, cylinder, Some(""))), (0.14, 0));
    assert_eq!(along(&plan(by_wedge, None, cylinder, Some("along = 'y'"))), (0.1, 1));
    assert_eq!(along(&plan(by_wedge, Some(Along::X), cylinder, Some(""))), (0.1, 1));
    assert_eq!(along(&plan(by_wedge, Some(Along::X), cylinder, Some("along = 'y'"))), (0.14, 0));
    // A note says which way the lines run, as the maker sees it.
    let said = |axis, shape, rotary| {
        let plan = plan(by_wedge, Some(axis), shape, rotary);
        plan.notes.iter().map(|n| n.says.to_string()).collect::<String>()
    };
    assert!(said(Along::Y, "round:90mm", None).contains("and these run along y: its widths"));
    assert!(
        said(Along::X, cylinder, Some(""))
            .contains("these run round the piece, which passes under the head along y")
    );
    // What is written back is what was measured, so that the job run again settles the same.
    let again = plan(by_wedge, Some(Along::Y), "round:90mm", None);
    let Some(Reference::Whole(kept)) = &again.job.process else { panic!("{:?}", again.job.process) };
    assert_eq!(kept.beam_along.as_ref().unwrap().value, BeamSize::Mm(Mm(0.14)));
}

use super::*;
use crate::findings::Severity;
use crate::job::Job;

const ART: Option<u32> = Some(7);

fn burnt(mm2: f64) -> Finding {
    Finding::new("over-burn", Severity::Stop, "too hot").measuring(mm2, "mm2")
}

/// The acceptance that is kept of one given now.
fn kept(mm2: f64) -> Vec<Acceptance> {
    vec![judge(&[Acceptance::now("over-burn")], &burnt(mm2), ART).kept().expect("it passes")]
}

fn lapsed(accept: &[Acceptance], finding: &Finding, art: Option<u32>, part: &str) {
    let held = judge(accept, finding, art);
    assert!(!held.passes());
    let why = held.lapsed().expect("a reason");
    assert!(why.contains(part), "'{part}' is not in: {why}");
}

#[test]
fn what_nobody_accepted_stops() {
    assert_eq!(judge(&[], &burnt(3.0), ART), Held::Stopped);
    assert_eq!(judge(&[Acceptance::now("off-bed")], &burnt(3.0), ART), Held::Stopped);
}

#[test]
fn an_acceptance_holds_for_the_art_and_figure_it_was_given_for() {
    let accept = kept(12.345_678);
    assert_eq!(judge(&accept, &burnt(12.345_678), ART), Held::Passed(accept[0].clone()));
    assert!(judge(&accept, &burnt(12.4), ART).passes(), "0.4 % more is another version's rounding");
    assert!(judge(&accept, &burnt(0.5), ART).passes());
    lapsed(&accept, &burnt(12.5), ART, "at 12.35 mm2, but it is 12.5 mm2 now");
    lapsed(&accept, &burnt(12.345_678), Some(8), "other art");
    lapsed(&accept, &burnt(12.345_678), None, "other art");
}

#[test]
fn a_kept_acceptance_stays_as_it_is_so_that_it_cannot_creep() {
    let accept = kept(100.0);
    let again = judge(&accept, &burnt(100.9), ART).kept().expect("it passes");
    assert_eq!(again, accept[0]);
}

#[test]
fn a_plain_name_in_a_file_holds_for_nothing() {
    let job: Job = toml::from_str("[scan]\naccept = [\"over-burn\"]\n").expect("old job files are read");
    lapsed(&job.scan.accept.expect("it is there"), &burnt(3.0), ART, "without saying for which art");
}

#[test]
fn a_job_file_gives_back_what_it_was_written_from() {
    let mut job = Job::default();
    job.scan.accept = Some(kept(78.539_816));
    let text = job.to_toml().expect("words");
    let entry = "[[scan.accept]]\nname = \"over-burn\"\nart_crc32 = 7\nfigure = \"78.54 mm2\"\n";
    assert!(text.contains(entry), "{text}");
    assert_eq!(toml::from_str::<Job>(&text).expect("read again"), job);
    for (wrong, part) in [
        ("[[scan.accept]]\nname = \"over-burn\"\n", "art_crc32"),
        ("[[scan.accept]]\nname = \"over-burn\"\nart_crc32 = 7\nfigur = \"1 mm2\"\n", "figur"),
        ("[[scan.accept]]\nname = \"over-burn\"\nart_crc32 = 7\nfigure = \"much\"\n", "no figure"),
        ("[scan]\naccept = [3]\n", "a finding with name"),
    ] {
        let e = toml::from_str::<Job>(wrong).expect_err("refused").to_string();
        assert!(e.contains(part), "'{part}' is not in: {e}");
    }
}

#[test]
fn what_is_accepted_now_comes_before_the_file_and_adds_to_it() {
    let file = || Some(kept(3.0));
    assert_eq!(merged(None, file()), file());
    let line = vec![Acceptance::now("over-burn"), Acceptance::now("off-bed")];
    assert_eq!(merged(Some(line.clone()), file()), Some(line));
    let both = merged(Some(vec![Acceptance::now("off-bed")]), file()).expect("some");
    assert_eq!(both, [Acceptance::now("off-bed"), kept(3.0).remove(0)]);
}

#[test]
fn unknown_names_are_refused_with_the_nearest() {
    let e = check(&[Acceptance::now("overburn")]).expect_err("refused").to_string();
    assert!(e.contains("did you mean over-burn?") && e.contains("off-bed"), "{e}");
    assert!(check(&[Acceptance::now("link-starved")]).is_ok());
}

use super::*;

#[test]
fn a_text_of_two_lines_is_typed_alike_wherever_it_stands() {
    let short = LayerOptions { text: vec![r"Anna\nBeate".into()], ..LayerOptions::default() };
    let layer =
        |said: &str| LayerOptions { layer: vec![parse_layer(said).unwrap()], ..LayerOptions::default() };
    let asked = short.layers();
    assert_eq!(asked[0].text.as_deref(), Some("Anna\nBeate"));
    for said in [r"text = 'Anna\nBeate'", r#"text = "Anna\nBeate""#] {
        assert_eq!(layer(said).layers(), asked, "{said}");
    }
}

#[test]
fn a_job_run_again_with_another_name_keeps_its_place_and_all_other_layers() {
    let layers = |said: &[&str]| said.iter().map(|l| parse_layer(l).unwrap()).collect::<Vec<_>>();
    let text = |all: &[&str]| LayerOptions {
        text: all.iter().map(|t| t.to_string()).collect(),
        ..LayerOptions::default()
    };
    let before = layers(&["border = '1mm'", "text = 'Anna', place = '60x8mm', anchor = 'bottom'"]);
    assert_eq!(LayerOptions::default().over(&before), before);
    let after = layers(&["border = '1mm'", "text = 'Tom Hill', place = '60x8mm', anchor = 'bottom'"]);
    assert_eq!(text(&["Tom Hill"]).over(&before), after);
    let wider = LayerOptions { border: Some(Mm(2.0)), ..LayerOptions::default() };
    assert_eq!(wider.over(&before)[0].border, Some(Mm(2.0)));
    assert_eq!(wider.over(&before)[1..], before[1..]);
    // Where there is none yet, a border lies below all else and a text above it.
    assert_eq!(
        wider.over(&before[1..]),
        layers(&["border = '2mm'", "text = 'Anna', place = '60x8mm', anchor = 'bottom'"])
    );
    assert_eq!(text(&["Tom"]).over(&before[..1]), layers(&["border = '1mm'", "text = 'Tom'"]));
    // Which of two is meant is only known where both are named.
    let two = layers(&["text = 'Anna', anchor = 'top'", "text = '2024', anchor = 'bottom'"]);
    let both = layers(&["text = 'Tom', anchor = 'top'", "text = '2025', anchor = 'bottom'"]);
    assert_eq!(text(&["Tom", "2025"]).over(&two), both);
    assert_eq!(text(&["Tom"]).over(&two), [&two[..], &layers(&["text = 'Tom'"])].concat());
    let added = LayerOptions { layer: layers(&["text = 'Tom', at = '0mm,9mm'"]), ..LayerOptions::default() };
    assert_eq!(added.over(&before), [before, added.layers()].concat());
}

#[test]
fn a_layer_with_the_words_of_a_text_of_the_job_says_more_of_that_text() {
    let layers = |said: &[&str]| said.iter().map(|l| parse_layer(l).unwrap()).collect::<Vec<_>>();
    let said = |layer: &str| LayerOptions { layer: layers(&[layer]), ..LayerOptions::default() };
    let before = layers(&["border = '1mm'", "text = 'Anna', bold = true", "text = '2024'"]);
    // As a remedy of layers-cross tells it to be typed: the text is moved, and lies above all others as one more would.
    assert_eq!(
        said("text = 'Anna', place = '60x8mm', at = '0mm,-9mm'").over(&before),
        layers(&[
            "border = '1mm'",
            "text = '2024'",
            "text = 'Anna', bold = true, place = '60x8mm', at = '0mm,-9mm'"
        ])
    );
    // Which of two is meant is not known, nor is a file meant by its name.
    let twice = layers(&["text = 'Anna', anchor = 'top'", "text = 'Anna', anchor = 'bottom'"]);
    let clear = "text = 'Anna', clear = '1mm'";
    assert_eq!(said(clear).over(&twice), [&twice[..], &layers(&[clear])].concat());
    let file = layers(&["file = 'rose.svg'"]);
    assert_eq!(said("file = 'rose.svg'").over(&file), [&file[..], &file].concat());
}

#[test]
fn a_text_may_hold_an_apostrophe_or_begin_with_a_dash() {
    let e = parse_layer("text='O'Brien'").unwrap_err();
    let typed = e.rsplit_once(": \"").and_then(|(_, typed)| typed.strip_suffix('"')).unwrap();
    assert_eq!(parse_layer(typed).unwrap().text.as_deref(), Some("O'Brien"), "{e}");
    assert!(parse_layer("text = \"O'Brien\", place = 1").unwrap_err().contains("write for example"));
    #[derive(clap::Parser)]
    struct Line {
        #[command(flatten)]
        layers: LayerOptions,
    }
    let texts = |line: &[&str]| {
        let line = ["prepare"].iter().chain(line);
        <Line as clap::Parser>::try_parse_from(line).map(|l| l.layers.text).map_err(|e| e.to_string())
    };
    assert_eq!(texts(&["--text", "-5 °C", "--text=-Anna"]).unwrap(), ["-5 °C", "-Anna"]);
    assert!(texts(&["--text", "--border"]).unwrap_err().contains("looks like an option"));
}

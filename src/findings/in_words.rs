//! Findings in a few words each, as what follows from a change: "but then lines show".

/// What a finding of that name comes to; its name where it never follows from a change.
pub fn in_words(name: &str) -> &str {
    match name {
        "over-burn" => "solids char",
        "under-burn" => "solids stay short of a full mark",
        "lines-apart" => "lines show",
        "lines-crowded" => "lines lie closer than helps",
        "detail-below-beam" => "fine detail is lost",
        "coarse-art" => "the picture is coarser than its dots",
        "inks-alike" => "two inks can hardly be told apart",
        "sheet-edge" => "the paper's edge may be marked",
        "picture-border" => "the picture's border is part of the piece",
        "faint" => "the piece stays nearly bare",
        "tone-shift" => "tones come out too light or too dark",
        "cut" => "a part of the drawing is cut off",
        "layers-cross" => "layers lie across each other",
        "bare-unseen" => "what is left bare does not show",
        "step-beat" => "lines do not lie equally far apart",
        "edge-dwell" => "the head slows down within the art",
        "link-starved" => "the link is too slow for the program",
        "short-sighted" => "the controller cannot hold the speed",
        "slow-switch" => "the laser is too slow for its dots",
        "past-margin" => "the art reaches past the margin",
        "bare-strip" => "a strip of the blank stays bare",
        "off-bed" => "a move leaves the bed",
        "coarse-power" => "the power is set too coarsely",
        "weak-laser" => "the laser is weak for the coating",
        _ => name,
    }
}

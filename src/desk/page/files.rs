// Every file of the page, by its kind: what is not listed here is not served.
files! {
    HTML: "index.html";
    CSS: "desk.css", "screens.css", "print.css";
    SCRIPT: "blank.js", "curve.js", "desk.js", "easel.js", "element.js", "glass.js", "layers.js", "length.js", "loupe.js", "notice.js", "piece.js",
        "server.js", "sheet.js", "shelf.js", "strip.js", "ticket.js", "tones.js", "tray.js", "wedge.js", "words.js";
    SVG: "icons.svg", "mark.svg";
}

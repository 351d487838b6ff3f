//! Scan program: lines, motion, RS-274 words, replay.

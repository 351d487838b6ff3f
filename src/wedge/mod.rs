//! Wedge: drawing and reading a test piece.

//! Encoders: one file format a file; they return bytes.

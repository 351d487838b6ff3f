//! The files that one command writes: its own to replace in a maker's folder, and no others.

/// The files that one command may write into a folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Files {
    /// Their names. When such a folder is written again, all of these are replaced or, where the new run
    /// does not make them, removed: a job that may not burn leaves no earlier scan program behind.
    pub names: &'static [&'static str],
    /// Files of which each shows that a folder holds something else with files of the same names, and what
    /// that is called. There nothing is replaced.
    pub never_beside: &'static [(&'static str, &'static str)],
}

//! Note: what a person is told beside the findings, and what that is about.

use serde::{Serialize, Serializer};

use super::said::Said;

/// What a note is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum About {
    /// What was assumed because nobody said otherwise.
    Assumed,
    /// The same of the blank, which is told with every job.
    Blank,
    /// The same of what the blank is made of alone.
    Surface,
    /// What was decided and can be decided otherwise.
    Choice,
    /// Anything else.
    Fact,
}

impl About {
    /// Whether it was assumed.
    pub fn is_assumed(self) -> bool {
        matches!(self, About::Assumed | About::Blank | About::Surface)
    }

    /// Whether it is told with every job: a person may want it otherwise. The rest is for the curious.
    pub fn is_told(self) -> bool {
        matches!(self, About::Blank | About::Surface | About::Choice)
    }
}

/// What a person is told; it is written as what it says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// What it is about.
    pub about: About,
    /// The sentence.
    pub says: Said,
}

impl Note {
    /// A note about this.
    pub fn new(about: About, says: impl Into<Said>) -> Note {
        Note { about, says: says.into() }
    }

    /// A note of what was decided and can be decided otherwise.
    pub fn choice(says: impl Into<Said>) -> Note {
        Note::new(About::Choice, says)
    }

    /// A note that asks for nothing.
    pub fn fact(says: impl Into<Said>) -> Note {
        Note::new(About::Fact, says)
    }

    /// The same note with its sentence `made` another way, on the command line and on the page.
    #[must_use]
    pub fn each(&self, made: impl Fn(&str) -> String) -> Note {
        Note { about: self.about, says: self.says.each(made) }
    }
}

impl Serialize for Note {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        self.says.serialize(s)
    }
}

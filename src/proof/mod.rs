//! Proof: the pictures and pages that a person looks at.

//! Sight: the eye's point spread, and picture-quality measures through it.

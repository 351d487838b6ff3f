//! Job: what was asked, resolved once into a plan.

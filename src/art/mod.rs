//! Art: opening picture files into linear light, and drawings at the density itself.

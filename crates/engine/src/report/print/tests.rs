//! Papers in print held to what other readers find in them.

//! The crate against published values, a module a subject. `fixtures/README.md` says where each figure comes from.

mod cooling;
mod least_squares;
mod sensors;
mod support;

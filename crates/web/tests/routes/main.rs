//! The routes as a caller sees them, without a socket.
//!
//! - `works`: a made-up works behind the routes, and a caller.
//! - `pages`: each page is there, says what it should, and lets no markup through.
//! - `staff`: people in it, and what they send.
//! - `sign_in`: signing in by password, PIN and key.
//! - `access`: who may do what then, and whose name it carries.
//! - `users`: adding and changing those who may sign in.
//! - `alarms`: acknowledging, shelving, out of service, and who may.
//! - `api`: what programs get.
//! - `openapi`: the document about it, held against what is answered.
//! - `once`: requests that come again.
//! - `bench`: a bowl worked by hand, and the sums.
//! - `baselines`: what is usual, and who may order about it.
//! - `faults`: the sentence for each kind of mistake.
//! - `health`: how the service itself is.
//! - `curves`: drawings, their other forms, and what can be done to them.
//! - `readers`: °F and other clocks.
//! - `phases`: what people say of phases.
//! - `temper_tests`: smears, photos, samples' curves.
//! - `people`: decisions, lots, cleans, checks of probes.
//! - `entries`: who may make entries, and when they are answered.
//! - `sheets`: day, week and comparison in all their forms, and what is entered on a week.
//! - `live`: events of live pages.

#![expect(clippy::unwrap_used, reason = "the helpers of a test are test code, too")]

mod access;
mod alarms;
mod api;
mod baselines;
mod bench;
mod curves;
mod entries;
mod faults;
mod health;
mod live;
mod once;
mod openapi;
mod pages;
mod people;
mod phases;
mod readers;
mod sheets;
mod sign_in;
mod staff;
mod temper_tests;
mod users;
mod works;

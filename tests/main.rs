//! Whole-program tests, one binary so that it links once.
//!
//! | module | proves |
//! | --- | --- |
//! | `workspace` | the rooms, the arrows between them, file heads, licences |
//! | `samples` | each sample stream gives the analysis that stands beside it |
//! | `replay` | a recorded stream through a real broker and a service that is stopped and killed on the way: every reading once |
//! | `cut` | service and analysis say the same, however the stream is cut into pieces |
//! | `cold_junction` | thermocouples are read by the room of their time, over a stop and another plant file |
//! | `line_order` | a recorded stream says the same, whatever the order of its lines |
//! | `recordings` | real temperature recordings that are no kettles break nothing and cry no wolf |
//! | `zero_loss` | whatever is killed, cut, frozen or filled on the way, every acknowledged message is there once |
//! | `formats` | every data folder that a release wrote opens for ever |
//! | `backup` | a backup under load holds all that had come, and is put back whole |
//! | `doctor` | what `doctor` says of a plant that is well, and of each thing that is not |
//! | `reload` | another plant file on SIGHUP, and a stop, under load: every reading once; what the service manager is told |
//! | `import` | a logger's file becomes batches, once; what cannot be read gets its sentence |
//! | `people` | a kettle from charge to decision, entered over HTTP, is found whole in its batch |
//! | `logs` | no password in any log; a flood of bad messages costs some lines and no disk |
//! | `access` | users, signing in, roles, the audit trail: with the program as it is run |
//! | `sums` | the sums of `seed`, what they refuse, and their help |
//! | `bad_input` | each kind of bad input gets its sentence |

// The lint's own exception for tests does not reach the helpers of a test binary.
#![allow(clippy::unwrap_used)]

mod access;
mod backup;
mod bad_input;
mod cold_junction;
mod cut;
mod doctor;
mod formats;
mod import;
mod line_order;
mod logs;
mod people;
mod program;
mod recordings;
mod reload;
mod replay;
mod samples;
mod streams;
mod sums;
mod workspace;
mod zero_loss;

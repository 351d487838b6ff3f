//! Every key of a job, machine, coating, process or blank file and every option of the command line does something:
//! it changes what is made, or it is refused. A key or option that is not in the tables fails the test.

mod files;
mod options;
mod world;

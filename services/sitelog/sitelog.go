// Package sitelog keeps what really happened on site: an append-only log of entries for each job, and the progress folded
// from it.
//
// An entry is accepted once. Posting it again changes nothing, so a device without a signal may post everything that it
// is not sure of; posting something else under the same id is refused. Entries are numbered without gaps in the order in which they
// became visible, so whoever has seen position n has seen all before it.
package sitelog

// ReasonJobNotFound is the one reason that this service gives besides those that all services share: the company has no
// such job. It is also the frames service's own.
const ReasonJobNotFound = "JOB_NOT_FOUND"

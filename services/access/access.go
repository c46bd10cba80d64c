// Package access keeps companies, people, keys and sessions, and turns a key or a session into a short-lived signed token.
//
// A token says company, person and roles, and every service verifies it by itself with the public keys that this one
// shows. So what is taken away here (a key revoked, a person disabled, a role lost) is gone everywhere when the tokens
// made before have ended: within five minutes.
//
// Of keys, session handles and one-time codes only a SHA-256 is kept. The private keys that sign tokens are kept as they are
// in this service's own store, so that several instances can sign with the same one: who can read that store, or a copy
// of it, can sign tokens for any company until the keys in it have been replaced, a day later. Guard it accordingly.
package access

// Reasons that this service gives, besides those that all services share.
const (
	// ReasonRefused: a key, session or code is not accepted, whatever is the matter with it.
	ReasonRefused = "CREDENTIALS_REFUSED"
	// ReasonCompanyExists: the id of the company is taken.
	ReasonCompanyExists = "COMPANY_EXISTS"
	// ReasonCompanyNotFound: there is no such company.
	ReasonCompanyNotFound = "COMPANY_NOT_FOUND"
	// ReasonPersonNotFound: the company has no such person.
	ReasonPersonNotFound = "PERSON_NOT_FOUND"
	// ReasonPersonDisabled: nothing can be made for a person who may not sign in.
	ReasonPersonDisabled = "PERSON_DISABLED"
	// ReasonKeyNotFound: the company has no such key.
	ReasonKeyNotFound = "KEY_NOT_FOUND"
	// ReasonEtag: another change came first.
	ReasonEtag = "ETAG_MISMATCH"
	// ReasonLastAdmin: the change would leave the company without anyone who manages it.
	ReasonLastAdmin = "LAST_ADMIN"
	// ReasonAlreadyShown: the request id made a secret before, and secrets are shown once.
	ReasonAlreadyShown = "ALREADY_SHOWN"
)

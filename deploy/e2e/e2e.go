// Package e2e has the tests of the suite as a whole, seen from outside.
package e2e

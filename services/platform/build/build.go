// Package build says which version of the engine computed an answer.
package build

// Version names the engine. It is part of every cache key and of every computed answer,
// and is raised whenever the same inputs would give another result.
const Version = "1"

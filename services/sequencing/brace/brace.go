// Package brace knows temporary braces as things to buy, cut and fix: the company's lumber, fasteners and anchors,
// what they hold and how much they give, and the list to cut.
//
// Every capacity is a setting of the company with a status; the defaults are for reading, not for building. Deck, anchor
// and ground are the customer's, so whoever is on site must see that they hold what is said here.
package brace

import (
	"github.com/pikepole/pikepole/services/internal/geom"
	"github.com/pikepole/pikepole/services/internal/model"
	"github.com/pikepole/pikepole/services/internal/wood"
)

// Lumber is a size of board that braces are made of.
type Lumber struct {
	// ID names it, such as "2x6-2": a pair of two-by-sixes nailed face to face.
	ID, Name string
	// WidthMM and DepthMM are its whole section, as fixed: of both boards where they are paired.
	WidthMM, DepthMM float64
	// Plies is how many boards lie face to face in it, at least 1, fastened to one another so that they buckle as one.
	Plies int
	// Species is a key of package wood and Grade a grade of its lumber, such as "No. 2".
	Species, Grade string
	// LengthsMM are the lengths that can be had, and Counts how many of each are at hand, as fixed: a pair counts once. A
	// count of −1 is as many as wanted.
	LengthsMM []float64
	Counts    []int
}

// Fastening is how an end of a brace is fixed to a timber.
type Fastening struct {
	// ID names it, such as "5-16d"; Name is in words: "five 16d common nails".
	ID, Name string
	// HoldsN is what it holds along the brace, allowable for normal duration of load, and GivesNPerM how stiff it is.
	HoldsN, GivesNPerM float64
	// MostThickMM is the thickest lumber that it goes through with the length that it needs behind; 0 is any.
	MostThickMM float64
	Status      wood.Status
}

// Anchor is what the foot of a brace is fixed to.
type Anchor struct {
	// ID names it, such as "cleat-lags"; Name is in words.
	ID, Name string
	Ground   model.Ground
	// UpN, AcrossN and DownN are what it holds, allowable for normal duration of load; GivesNPerM is how stiff it is along
	// the brace.
	UpN, AcrossN, DownN float64
	GivesNPerM          float64
	Status              wood.Status
}

// Stock is what a company braces with.
type Stock struct {
	Lumber     []Lumber
	Fastenings []Fastening
	Anchors    []Anchor
}

// Brace is a temporary brace in its place.
type Brace struct {
	// ID is unique within a plan, such as "B7".
	ID string
	// Timber is the index of the stick that it holds, and Mark its mark.
	Timber int
	Mark   string
	// Top is where it is fixed to that stick and Foot its other end, in millimetres, frame axes, on the centre line of the
	// brace.
	Top, Foot geom.Vec
	// FootTimber is the stick that the foot is fixed to, −1 when that is deck or ground, and FootMark its mark.
	FootTimber int
	FootMark   string
	Lumber     Lumber
	Head       Fastening
	Anchor     Anchor
}

// Cut is what to cut for a brace.
type Cut struct {
	// ID is the brace's.
	ID string
	// LengthMM is long point to long point, StockMM the length that it is cut from; 0 when none is long enough or left.
	LengthMM, StockMM float64
	// Board numbers the boards of the stock from 1, so that cuts out of one board share its number; 0 without stock.
	Board int
	// TopBevelDeg and FootBevelDeg are the cuts off square, SlopeDeg is from level.
	TopBevelDeg, FootBevelDeg, SlopeDeg float64
	// Words say what to do, in a sentence.
	Words string
}

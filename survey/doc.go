// Package survey describes the craft, its stations and one reading of the
// probe. It opens no file and knows no file format; the packages in its
// subdirectories do.
//
// A reading is a [Sample]: time, three components of the field in microtesla and
// sensor axes, and, where the probe sends them, an acceleration, a current and a
// label of the load. From the serial byte to the chosen spot it goes through these
// packages:
//
//	link       decodes the bytes of a module into samples
//	guide      keeps those of a probe at rest, names the next station, and judges
//	           each capture
//	walk       joins the two and hands each capture to the logbook before anyone
//	           is told that it counts
//	logbook    keeps captures, calibrations, swings and the choice on disk; csvfile
//	           brings captures from elsewhere, verify finds what is wrong in a folder
//	evaluate   turns the captures of all runs into the field at the stations and
//	           between them, with its uncertainty
//	rank       finds the best spots; sources names what causes the field; prove,
//	           whatif and compare answer one question each
//	swing      checks the arrow and swings the finished craft
//	progress   lists the steps of the job of a folder and which are done
//
// craftfile reads and writes the craft itself, number and disk serve the files, sim
// plays a craft, a module and an operator.
//
// Places are in the craft frame (ISO 1151: x forward, y right, z down),
// millimetres from the builder's datum. A raw reading is in sensor axes;
// [Frame] takes it to the craft frame.
//
// Start at [Craft] and [Sample].
package survey

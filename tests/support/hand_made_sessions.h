// Sessions made by hand, for the tests of session file, terminal text and page. Invented units; the level
// curves follow the closed form of a hard-clipped sine, so that the pages look as real ones do.
#pragma once

#include <map>
#include <string>

#include "cli/files/session/session.h"

namespace assay::cli::hand_made {

analysis::Quantity quantity(double value, const std::string& unit,
                            std::map<std::string, double> contributions);

capture::Bench bench();

Take take();

/// The numbers of one load of an amplifier whose rail stands at `rail_v`.
Numbers numbers(const std::string& load, const std::string& input, double resistance_ohm, double rail_v);

JudgedClaim claim(const std::string& text, const std::string& load, const std::string& name,
                  const analysis::Quantity& measured, double at_least);

/// A whole session; the rail decides what the amplifier gives (22.5 V: about 60 W into 4 ohm).
Session amplifier(double rail_v = 19.5, double claimed_w = 22.0);

/// Every verdict on one page, a limit that was not reached, a distortion test and a reading by hand.
Session many_verdicts();

/// Twenty tests and forty claims, of which the first page has room for a few.
Session crowd();

/// The same test on three supplies and one channel alone, under the basis of a rating: the table of power, a
/// load below the unit's minimum, the plot against supply volts.
Session powers();

/// One test whose capture cannot be trusted.
Session with_fault();

/// Everything that may be left out is left out.
Session bare();

/// A driver: its impedance by the closed form of a resonance with a coil (Re 6, Le 0.6 mH, fs 42 Hz, Qms 4,
/// Res 30), and a few of its parameters.
Session driver();

/// A preamplifier: volts and no watts, one claim of its noise and one of its response.
Session line();

/// Two inputs on one node, compared before a driver is measured with them.
Session pair_of_inputs();

inline const std::string hostile_text =
    "<script>alert(1)</script>\"'&`touch x`$(id)\\n';reset\n\x1b[31mred\xE2\x80\xAE"
    "evil\x01\xFF{{title}}zq0qz";

/// Names that try to break out of the page, the terminal and the plot, and a very long one.
Session hostile();

}  // namespace assay::cli::hand_made

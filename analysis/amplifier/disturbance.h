// A jump inside a steady step: lost or doubled samples (the phase jumps), a gap filled with nothing (the
// amplitude dips). Whole lost cycles leave no trace here; the tone's marks show them.
#pragma once

#include <span>

namespace assay::analysis {

struct Disturbance {
    bool found = false;
    double at_s = 0.0;  // from the start of the record
    bool level =
        false;  // the amplitude is another one behind it than before: a gain that jumped, no lost samples
};

/// `frequency_hz` is that of the only strong tone; blocks of three of its cycles. A record below four blocks
/// tells nothing.
Disturbance disturbance_within(std::span<const double> record, double rate_hz, double frequency_hz);

/// The same of one strong line among others, none of them (nor direct voltage) nearer than `apart_hz`: blocks
/// of four cycles of that distance, 20 ms at least, under a Hann window. A jump by whole cycles of this line
/// leaves no trace in it.
Disturbance disturbance_of_line(std::span<const double> record, double rate_hz, double frequency_hz,
                                double apart_hz);

}  // namespace assay::analysis

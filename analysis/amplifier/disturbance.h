// A jump inside a steady step: lost or doubled samples (the phase jumps), a gap filled with nothing (the
// amplitude dips). Whole lost cycles leave no trace here; the tone's marks show them.
#pragma once

#include <span>

namespace assay::analysis {

struct Disturbance {
    bool found = false;
    double at_s = 0.0;  // from the start of the record
};

Disturbance disturbance_within(std::span<const double> record, double rate_hz, double frequency_hz);

}  // namespace assay::analysis

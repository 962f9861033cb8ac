// What of the measured curves a fit looks at: the band about the resonance and the coil as far as Le needs
// it, and no more points than carry knowledge.
#pragma once

#include "analysis/driver/impedance_curve.h"

namespace assay::analysis {

/// The points up to `to_hz`, it included. Where more than 800 are left, neighbours within 0.2 % in
/// frequency are averaged (a peak of Q 15 is 7 % wide), with their variance and their systematic parts.
ImpedanceCurve fit_data(const ImpedanceCurve& curve, double to_hz);

/// Up to where the fit goes: 50 times the resonance and at least 5 kHz. Higher up the coil is no concern of
/// the cone, and break-up of the cone is none of the model's.
double fit_top_hz(double fs_hz);

}  // namespace assay::analysis

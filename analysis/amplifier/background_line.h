// A line that is there whether or not the tone sounds: hum. Where a tone has the frequency of the hum, the
// two cannot be told apart within one step. What the hum does at that moment is told by the steps before and
// after, in which the tone is elsewhere.
//
// A steady line turns evenly: its phasors, all referred to one moment, are a e^{j 2 pi d t} with d the small
// difference of its frequency from the tone's. By least squares, d by search (maximum of the periodogram: D.
// C. Rife and R. R. Boorstyn, IEEE Trans. Inf. Theory 20(5), 1974). Hum that wanders fits badly; it then
// comes out small, with a doubt as large as itself.
#pragma once

#include <complex>
#include <span>

namespace assay::analysis {

/// The line's phasor as one stretch of sound tells it, and what noise alone would make of it.
struct HeardLine {
    double at_s = 0.0;              // middle of the stretch
    std::complex<double> phasor{};  // peak, referred to second 0 by the tone's frequency
    double doubt = 0.0;             // standard deviation of its real part, and of its imaginary part
};

struct Background {
    std::complex<double> phasor{};  // peak, referred to second 0; zero where its phase is not known
    double doubt = 0.0;             // of each part, beyond the noise of the moment itself
    double size = 0.0;  // peak, as it stands on the mean over the stretches; zero where none is heard
};

/// What to expect at a moment. Nothing where no line stands out of the noise of the stretches.
Background background_at(std::span<const HeardLine> heard, double at_s);

}  // namespace assay::analysis

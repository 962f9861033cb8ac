// A faint line of known frequency: its size, with what noise alone would make of it.
#pragma once

#include <complex>
#include <span>
#include <vector>

namespace assay::analysis {

struct Line {
    double frequency_hz = 0.0;
    std::complex<double> phasor{};  // peak, at the record's centre
    double doubt = 0.0;             // standard deviation of its real part, and of its imaginary part

    /// What noise adds is taken off in power.
    double amplitude() const;
};

/// All lines of a record fitted together by least squares, a constant beside them, so that none leaks into
/// another (linear regression; IEEE Std 1057 with given frequencies). The doubt is from the noise density of
/// what is left, near each line. Frequencies by the record's clock, distinct, at least 1.5 / record length
/// apart.
std::vector<Line> fit_lines(std::span<const double> record, double rate_hz, std::span<const double> lines_hz);

}  // namespace assay::analysis

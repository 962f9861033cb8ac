// The impedance jig of the virtual bench: generator, series resistor, and a loudspeaker driver (or a plain
// resistor) to ground, as two linear systems from the open generator to the jig's inputs.
//
// Source: the lumped circuit of R. H. Small, "Direct-Radiator Loudspeaker System Analysis", JAES 20(5), 1972,
// with a coil of L + (R2 || L2). The systems are sampled in frequency, so that no bilinear transform bends
// them: exact on a grid of rate / kernel_frames, below about 0.95 of half the rate.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace virtual_bench {

struct Driver {
    double re_ohm = 5.6;
    double mms_kg = 0.0156;
    double cms_m_per_n = 1e-3;
    double rms_kg_per_s = 0.8;
    double bl_tm = 7.0;
    double coil_h = 0.2e-3;
    double coil_2_ohm = 3.4;
    double coil_2_h = 0.4e-3;
};

struct Jig {
    double series_ohm = 22.0;
    double generator_ohm = 0.05;
    Driver driver{};
    double added_kg = 0.0;
    double resistor_ohm = 0.0;  // above 0: it stands in the driver's place
    bool one_node = false;      // both inputs on the generator's end of the series resistor
};

std::complex<double> impedance_ohm(const Jig& jig, double frequency_hz);

/// In place; a power of two. `inverse` without the division.
void transform(std::span<std::complex<double>> values, bool inverse);

/// What the two inputs hear, as spectra of partitions of `block` frames.
struct Kernel {
    Kernel(const Jig& jig, double rate_hz, std::size_t block);
    static constexpr std::size_t frames = 65536;  // longer than any driver rings
    static constexpr std::size_t early =
        1024;  // a filter that is flat to half the rate answers before its cause
    std::size_t parts = 0;
    std::vector<std::vector<std::complex<double>>> spectra[2];
};

/// Partitioned convolution, overlap-save, one block at a time (T. G. Stockham, AFIPS 28, 1966).
class Convolver {
  public:
    explicit Convolver(std::size_t block);
    /// `in` of `block` frames; both `out` are resized.
    void run(const Kernel& kernel, std::span<const float> in, std::vector<float> (&out)[2]);

  private:
    std::size_t block_;
    std::size_t newest_ = 0;
    std::vector<std::vector<std::complex<double>>> heard_;  // spectra of the last blocks, a ring
    std::vector<double> last_;
};

}  // namespace virtual_bench

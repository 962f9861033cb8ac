// Projections of a record on a sine and its harmonics, and what is left when they are taken off: nearly all
// of a harmonic fit's time. The record goes in rows of 128 samples, each folded about its middle: cosines see
// the even half of it and sines the odd one, which halves the products. Eight rows stand beside each other.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "analysis/signal/lanes.h"

namespace assay::analysis {

class HarmonicProjector {
  public:
    /// The record must outlive this.
    explicit HarmonicProjector(std::span<const double> record);

    /// Radians a sample of the first of so many harmonics.
    void set_basis(double omega, int harmonics);

    /// n counted from the centre of the record: [k-1] = sum x e^{j k w n}; last, sum n x e^{j w n}.
    std::vector<std::complex<double>> project() const;

    /// Record minus dc, minus Re sum phasors[k-1] e^{j k w n}, minus n Re(slope e^{j w n}).
    std::vector<double> residual(double dc, const std::vector<std::complex<double>>& phasors,
                                 std::complex<double> slope) const;

  private:
    static constexpr std::size_t half = 64;
    static constexpr std::size_t row_samples = 2 * half;

    struct ComplexEight {
        Eight re{};
        Eight im{};
    };
    /// Eight rows: sums and differences of the samples as far behind and before a row's middle.
    struct Tile {
        Eight even[half];
        Eight odd[half];
    };
    /// A harmonic at half a sample, one and a half, ... from a row's middle.
    struct Wave {
        double cosine[half];
        double sine[half];
    };

    /// Sums over half a row of the tile's halves times waves: real parts by cosines, imaginary ones by sines.
    template <std::size_t count>
    static void multiply(const Eight* with_cosine, const Eight* with_sine, const Wave* wave,
                         ComplexEight* products);
    static void turn(ComplexEight& phasor, const ComplexEight& turns);
    /// Takes what stands m and a half behind and before the middles of a tile's rows off the record.
    void take_off(std::size_t tile, std::size_t m, const Eight& even, const Eight& odd,
                  std::span<double> left) const;
    static void add_turned(const ComplexEight& products, const ComplexEight& turns, ComplexEight& sum);

    /// The middles of a tile's rows: n from the record's centre, and e^{j w n} there.
    void set_middles(std::size_t tile, Eight& places, ComplexEight& turns) const;
    double middle(std::size_t row) const;

    std::span<const double> record_;
    double omega_ = 0.0;
    std::vector<Tile> tiles_{};
    std::vector<Wave> waves_{};  // harmonics, then the first times the distance: cosine odd and sine even
};

}  // namespace assay::analysis

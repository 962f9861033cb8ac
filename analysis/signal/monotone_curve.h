// Piecewise cubic through points that does not overshoot: Fritsch & Carlson, SIAM J. Numer. Anal. 17(2),
// 238-246 (1980), with the harmonic-mean slopes of Fritsch & Butland (1984), as in SciPy's PchipInterpolator.
#pragma once

#include <span>
#include <vector>

namespace assay::analysis {

class MonotoneCurve {
  public:
    /// x strictly rising, at least two points.
    MonotoneCurve(std::vector<double> x, std::vector<double> y);
    /// Between the end points; held constant outside.
    double at(double x) const;

  private:
    std::vector<double> x_;
    std::vector<double> y_;
    std::vector<double> slopes_{};
};

}  // namespace assay::analysis

// A measured impedance curve with what makes it uncertain: random scatter a point, from the data themselves,
// and systematic effects by the identity of their source, so that what two curves of one bench share cancels
// where it cancels (JCGM 100:2008, 5.2).
#pragma once

#include <complex>
#include <map>
#include <string>
#include <vector>

namespace assay::analysis {

struct ImpedancePoint {
    double frequency_hz = 0.0;
    std::complex<double> z_ohm{};
    double variance_ohm2 = 0.0;  // of the real part and of the imaginary part, each; 0: not known
};

struct ImpedanceCurve {
    std::vector<ImpedancePoint>
        points{};  // by rising frequency; lines that mains hum or noise spoiled are left out
    /// Source id ("jig:series", "jig:lead", ...) -> change of each point's z for one standard uncertainty of
    /// it.
    std::map<std::string, std::vector<std::complex<double>>> systematic{};
};

}  // namespace assay::analysis

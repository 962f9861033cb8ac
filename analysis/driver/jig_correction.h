// From the ratio of the two voltages of an impedance jig to the impedance in it.
//
// series-high: generator - R - (driver-side input) - lead - driver - ground. The input's resistance lies
// across lead and driver: Zp = R h / (1 - h), 1 / (Z + lead) = 1 / Zp - 1 / Rin. sense-low: generator -
// driver - lead - (driver-side input) - R - ground. The input's resistance lies across R: Z + lead = (R ||
// Rin) (1 - h) / h. h = driver-side volts over generator-side volts. Order: match of the inputs, input
// resistance, lead.
#pragma once

#include <complex>

namespace assay::analysis {

struct JigModel {
    bool sense_low = false;
    double series_ohm = 0.0;
    double lead_ohm = 0.0;
    double input_conductance_s = 0.0;  // 1 / Rin; 0 for none
};

struct JigImpedance {
    std::complex<double> z_ohm{};
    std::complex<double> dz_dh{};            // change of z for a change of h
    std::complex<double> dz_dseries{};       // for a change of the series resistor, ohm per ohm
    std::complex<double> dz_dconductance{};  // for a change of the input's conductance
};

/// `h` after the match of the inputs. Not finite where h is 1 (series-high) or 0 (sense-low).
JigImpedance impedance_in_jig(const JigModel& jig, std::complex<double> h);

/// The other way: what the inputs see with a known impedance in the jig.
std::complex<double> ratio_in_jig(const JigModel& jig, std::complex<double> z_ohm);

}  // namespace assay::analysis

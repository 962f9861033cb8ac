#include "analysis/driver/jig_correction.h"

namespace assay::analysis {

JigImpedance impedance_in_jig(const JigModel& jig, std::complex<double> h) {
    JigImpedance result;
    const double r = jig.series_ohm;
    const double g = jig.input_conductance_s;
    if (jig.sense_low) {
        const double parallel = r / (1.0 + r * g);  // R || Rin
        const double share = parallel / r;
        result.z_ohm = parallel * (1.0 - h) / h - jig.lead_ohm;
        result.dz_dh = -parallel / (h * h);
        result.dz_dseries = share * share * (1.0 - h) / h;
        result.dz_dconductance = -parallel * parallel * (1.0 - h) / h;
        return result;
    }
    const std::complex<double> seen = r * h / (1.0 - h);  // lead and driver, with the input across them
    const std::complex<double> stretch = 1.0 / (1.0 - seen * g);
    const std::complex<double> behind = seen * stretch;  // lead and driver alone
    result.z_ohm = behind - jig.lead_ohm;
    result.dz_dh = stretch * stretch * r / ((1.0 - h) * (1.0 - h));
    result.dz_dseries = stretch * stretch * h / (1.0 - h);
    result.dz_dconductance = behind * behind;
    return result;
}

std::complex<double> ratio_in_jig(const JigModel& jig, std::complex<double> z_ohm) {
    const std::complex<double> z = z_ohm + jig.lead_ohm;
    const double r = jig.series_ohm;
    const double g = jig.input_conductance_s;
    if (jig.sense_low) {
        const double parallel = r / (1.0 + r * g);
        return parallel / (parallel + z);
    }
    const std::complex<double> seen = z / (1.0 + z * g);
    return seen / (seen + r);
}

}  // namespace assay::analysis

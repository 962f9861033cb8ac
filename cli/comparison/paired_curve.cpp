#include "cli/comparison/paired_curve.h"

#include <algorithm>
#include <cmath>

#include "analysis/units.h"

namespace assay::cli {
namespace {

struct Reader {
    const std::vector<double>* frequency_hz = nullptr;
    const std::vector<double>* magnitude = nullptr;
    const std::vector<double>* phase_deg = nullptr;  // impedance only

    std::complex<double> at(std::size_t i) const {
        if (phase_deg == nullptr) return (*magnitude)[i];
        return std::polar(1.0, (*phase_deg)[i] * analysis::radians) * (*magnitude)[i];
    }
};

std::optional<Reader> reader_of(const analysis::Curve& curve) {
    Reader reader;
    reader.frequency_hz = curve.find("frequency_hz");
    if (reader.frequency_hz == nullptr || reader.frequency_hz->empty()) return std::nullopt;
    if (!std::is_sorted(reader.frequency_hz->begin(), reader.frequency_hz->end())) return std::nullopt;
    reader.magnitude = curve.find("magnitude_ohm");
    reader.phase_deg = curve.find("phase_deg");
    if (reader.magnitude != nullptr && reader.phase_deg != nullptr) return reader;
    reader.phase_deg = nullptr;
    reader.magnitude = curve.find("magnitude_db");
    if (reader.magnitude == nullptr) return std::nullopt;
    return reader;
}

}  // namespace

std::optional<PairedCurve> paired_curve(const analysis::Curve& here, const analysis::Curve& there) {
    const auto left = reader_of(here);
    const auto right = reader_of(there);
    if (!left || !right || (left->phase_deg == nullptr) != (right->phase_deg == nullptr)) return std::nullopt;
    PairedCurve paired;
    paired.impedance = left->phase_deg != nullptr;
    const std::vector<double>& there_hz = *right->frequency_hz;
    for (std::size_t i = 0; i < left->frequency_hz->size(); ++i) {
        const double f = (*left->frequency_hz)[i];
        if (f < there_hz.front() || f > there_hz.back()) continue;
        const auto above = std::lower_bound(there_hz.begin(), there_hz.end(), f);
        const auto k = static_cast<std::size_t>(above - there_hz.begin());
        std::complex<double> value = right->at(k);
        if (*above != f) {
            const double share = std::log(f / there_hz[k - 1]) / std::log(there_hz[k] / there_hz[k - 1]);
            value = (1.0 - share) * right->at(k - 1) + share * value;
            paired.interpolated = true;
        }
        paired.points.push_back({f, left->at(i), value});
    }
    if (paired.points.empty()) return std::nullopt;
    return paired;
}

}  // namespace assay::cli

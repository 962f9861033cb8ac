#include "cli/certificate/plots/curve_lines.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "cli/report/quantity_words.h"

namespace assay::cli {
namespace {

struct Wanted {
    std::string curve{};
    std::string column{};
    bool positive = false;
    std::string x_column{};
};

void add_lines(const Wanted& wanted, const std::string& name, const Numbers& numbers,
               std::vector<CurveLine>& lines) {
    for (const auto& [curve_name, curve] : numbers.curves) {
        const auto* x = curve.find(wanted.x_column);
        const auto* y = curve.find(wanted.column);
        if (curve_name != wanted.curve || x == nullptr || y == nullptr) continue;
        CurveLine line{name, &numbers, &curve, {}, {}};
        std::ptrdiff_t given = 0;
        const bool logarithmic = wanted.x_column == "frequency_hz";
        for (std::size_t i = 0; i < std::min(x->size(), y->size()); ++i) {
            if (!std::isfinite((*x)[i]) || (logarithmic && !((*x)[i] > 0.0))) continue;
            const bool good = std::isfinite((*y)[i]) && (!wanted.positive || (*y)[i] > 0.0);
            given += good ? 1 : 0;
            line.x.push_back((*x)[i]);
            line.y.push_back(good ? (*y)[i] : std::numeric_limits<double>::quiet_NaN());
        }
        if (given > 1) lines.push_back(std::move(line));
    }
}

}  // namespace

std::vector<CurveLine> curve_lines(const TestRecord& record, const std::string& curve,
                                   const std::string& column, bool positive, const std::string& x_column) {
    const Wanted wanted{curve, column, positive, x_column};
    std::vector<CurveLine> lines;
    for (const auto& [load, numbers] : record.result.loads) add_lines(wanted, load, numbers, lines);
    add_lines(wanted, quantity_words(curve), record.result.whole, lines);
    return lines;
}

std::optional<double> value_at(const CurveLine& line, double frequency_hz) {
    for (std::size_t i = 0; i < line.y.size(); ++i) {
        if (std::abs(line.x[i] / frequency_hz - 1.0) < 0.01 && std::isfinite(line.y[i])) return line.y[i];
        if (i == 0 || line.x[i - 1] > frequency_hz || line.x[i] < frequency_hz) continue;
        const double part = std::log(frequency_hz / line.x[i - 1]) / std::log(line.x[i] / line.x[i - 1]);
        const double value = line.y[i - 1] + part * (line.y[i] - line.y[i - 1]);
        if (std::isfinite(value)) return value;
    }
    return std::nullopt;
}

}  // namespace assay::cli

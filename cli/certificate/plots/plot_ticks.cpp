#include "cli/certificate/plots/plot_ticks.h"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <vector>

namespace assay::cli {
namespace {

constexpr double hair = 1.0 + 1e-9;
constexpr double near_an_end = 1.2;  // of an axis: the next number of the series is taken as its end

std::vector<double> numbers_between(double from, double to, const std::vector<double>& leading) {
    std::vector<double> numbers;
    for (double decade = decade_below(from); decade <= to * hair; decade *= 10.0) {
        for (const double lead : leading) {
            const double value = lead * decade;
            if (value >= from * 0.999 && value <= to * 1.001) numbers.push_back(value);
        }
    }
    return numbers;
}

}  // namespace

std::string tick_text(double value) {
    if (std::abs(value) >= 1000.0) return fmt::format("{:.4g}k", value / 1000.0);
    if (std::abs(value) >= 0.001 || value == 0.0) return fmt::format("{:.4g}", value);
    // 0.00002, where others write 2e-05.
    std::string text = fmt::format("{:.9f}", value);
    while (text.back() == '0') text.pop_back();
    return text;
}

std::string logarithmic_ticks(double from, double to, bool bare) {
    constexpr std::size_t most = 12;
    constexpr std::size_t fewest = 3;
    std::vector<double> numbers = numbers_between(from, to, {1.0, 2.0, 5.0});
    if (numbers.size() > most) numbers = numbers_between(from, to, {1.0});
    if (numbers.size() < fewest)
        numbers = numbers_between(from, to, {1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0});
    std::string list;
    for (const double value : numbers) {
        list += fmt::format("{}\"{}\" {:.9g}", list.empty() ? "" : ", ", bare ? "" : tick_text(value), value);
    }
    return list;
}

double linear_step(double from, double to) {
    constexpr double parts = 8.0;
    const double least = (to - from) / parts;
    return least > 0.0 ? series_above(least) : 1.0;
}

double decade_below(double value) {
    return std::pow(10.0, std::floor(std::log10(value) + 1e-9));
}

double decade_above(double value) {
    return std::pow(10.0, std::ceil(std::log10(value) - 1e-9));
}

double series_below(double value) {
    const double decade = decade_below(value);
    const double lead = value / decade * hair;
    return decade * (lead >= 5.0 ? 5.0 : lead >= 2.0 ? 2.0 : 1.0);
}

double series_above(double value) {
    const double decade = decade_below(value);
    for (const double lead : {1.0, 2.0, 5.0}) {
        if (lead * decade * hair >= value) return lead * decade;
    }
    return 10.0 * decade;
}

double frequency_from(double lowest_hz) {
    const double below = series_below(lowest_hz);
    return lowest_hz <= near_an_end * below ? below : lowest_hz;
}

double frequency_to(double highest_hz) {
    const double above = series_above(highest_hz);
    return above <= near_an_end * highest_hz ? above : highest_hz;
}

}  // namespace assay::cli

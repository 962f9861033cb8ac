// A simulated bench as text, well-formed and as odd as somebody's own may be.
#pragma once

#include <string>
#include <vector>

#include "property/draw.h"

namespace assay::drawn {

struct BenchText {
    std::string text{};
    std::vector<std::string> outputs{};
    std::vector<std::string> inputs{};  // of role "voltage"
    std::vector<std::string> references{};
    std::vector<std::string> loads{};       // with a resistance
    std::vector<std::string> open_loads{};  // of resistance_ohm = inf
    std::vector<std::string> meters{};
};

/// `oddness` 0 draws what a careful person has, 1 anything that the reader may take.
BenchText bench(Draw& draw, double oddness);

/// As TOML: a number that reads back the same bits, a text in quotes, a list.
std::string number(double value);
std::string in_toml(const std::string& text);
std::string in_toml(const std::vector<std::string>& texts);

}  // namespace assay::drawn

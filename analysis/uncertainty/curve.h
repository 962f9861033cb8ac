// Named columns with units, equally long.
#pragma once

#include <string>
#include <vector>

namespace assay::analysis {

struct Column {
    std::string name;  // ends in its unit: "power_w"
    std::vector<double> values{};
};

struct Curve {
    std::vector<Column> columns{};

    const std::vector<double>* find(const std::string& name) const {
        for (const Column& column : columns) {
            if (column.name == name) return &column.values;
        }
        return nullptr;
    }
};

}  // namespace assay::analysis

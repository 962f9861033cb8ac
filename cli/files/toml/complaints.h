// What is wrong with a job or bench file, and the bounds of its numbers.
#pragma once

#include <limits>
#include <string>
#include <utility>
#include <vector>

#include "capture/fault.h"

namespace assay::cli {

/// What is wrong with a file, collected so that the first in the order of the file can be told.
class Complaints {
  public:
    explicit Complaints(std::string file_name) : file_name_(std::move(file_name)) {}

    void add(int line, std::string text, std::string mend);
    bool empty() const { return all_.empty(); }
    /// The complaint of the lowest line: "bench.toml:14: input "probe-a": ...". Must not be empty.
    capture::Fault first() const;

  private:
    struct Complaint {
        int line = 1;
        std::string text;
        std::string mend;
    };
    std::string file_name_;
    std::vector<Complaint> all_{};
};

/// Bounds of a number; both ends allowed unless said. Never NaN, and infinite only where said.
struct Range {
    double minimum = -std::numeric_limits<double>::max();
    double maximum = std::numeric_limits<double>::max();
    bool above_minimum = false;  // the minimum itself is not allowed
    bool whole = false;
    bool infinity_allowed = false;
    std::string unit{};  // for the message

    bool holds(double value) const;
    /// "a number from 1 to 64", "a number above 0 V".
    std::string in_words() const;
};

Range positive(std::string unit, double maximum);
Range from_to(double minimum, double maximum, std::string unit);
Range whole_from_to(double minimum, double maximum);

}  // namespace assay::cli

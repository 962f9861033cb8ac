// What a verification found, as text and as JSON.
#pragma once

#include <string>
#include <vector>

#include "cli/files/session/session_compare.h"

namespace assay::cli {

struct Verification {
    std::string what{};  // folder or bundle
    std::string number{};
    std::string listed_number{};  // in contents.json
    std::string fingerprint{};
    std::string program_version{};
    bool simulated = false;
    std::size_t files = 0;
    std::size_t pages = 0;
    bool is_signed = false;
    bool own_key = false;
    std::string key{};
    bool computed = false;
    std::vector<QuantityPair> pairs{};
    std::vector<SessionDifference> differences{};
    std::vector<std::string> failures{};
    std::vector<std::string> remarks{};

    void fail(std::string what_is_wrong) { failures.push_back(std::move(what_is_wrong)); }
};

/// Turns differences into failures and remarks: on the version that made the session every number must come
/// back, on another version every quantity must come back within its uncertainty, with the same verdicts.
void judge_differences(Verification& found);

std::string verification_text(const Verification& found);
std::string verification_json(const Verification& found);

}  // namespace assay::cli

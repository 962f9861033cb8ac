// A number that is turned into another form when it is read and back when it is written, such as magnitude
// and phase of a complex one, or a part that files hold as a percentage. Each turn rounds by some 2^-53; in
// fourteen digits the same number is written again, and what is lost is a hundred times less than any
// converter's last bit.
#pragma once

namespace assay::cli {

/// The nearest number of fourteen significant digits.
double steady_number(double value);

}  // namespace assay::cli

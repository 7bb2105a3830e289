/* Policies, and the judgement of a fixed piece of evidence by whatever policy is taken. */
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "proof/evidence.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* The worked example of docs/formats.md with another record: no policy may let it pass. */
static const char proof_text[] =
        "c2sp.org/tlog-proof@v1\nindex 1\n"
        "C+1hrpfhjMEg99Eg+i3wfXF2q0xv4K4KhQr5qDOPiXA=\n"
        "HvuKpGG5Qf+ltaHU4ZNVHzRKT32T10wkC/WX/TJUvMs=\n\n"
        "lantern-basin/heron/5e1f3a90c2d47b86\n3\n"
        "g6AOH0/p7ceim0TooMWJkBQCdf7ZuNmcYepif7cVbSU=\n\n"
        "\xe2\x80\x94 lantern-basin/heron/5e1f3a90c2d47b86 5f8T+EwTqB2c/Z33J3Tp7C7oCbe9E036uwF"
        "uGsE+3VTPLzugMJKM6ncAVNLBJRiafyHo2NSXBykoLtUQEQ2pQgAxCwg=\n"
        "\xe2\x80\x94 lantern-basin/office jX9IzAAAAABpo/IAD93Z/zTHb3EkFWju4AaKN5Ey/rpcuT7tXEY"
        "JzKHsJnbavn0HrEgPqnGrMN8ejKvKqz2ZmB6g593J0uIVHTGoAg==\n";

int
LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct fsp_proof_file proof;
    static struct fsp_statement statement;
    struct fsp_policy *policy = NULL;
    struct fsp_err err;

    if (fsp_proof_init(NULL) != FSP_OK ||
            fsp_proof_parse(&proof, proof_text, strlen(proof_text), &err) != FSP_OK)
        abort();
    if (fsp_policy_parse(&policy, (const char *)data, size, &err) != FSP_OK) {
        assert(policy == NULL);
        return 0;
    }
    for (size_t i = 0; fsp_policy_key(policy, i) != NULL; i++)
        assert(i < 2 * (size_t)FSP_POLICY_KEYS_MAX);
    assert(fsp_evidence_verify(policy, "{}", 2, &proof, &statement, &err) == FSP_EVERIFY);
    fsp_policy_free(policy);
    return 0;
}
